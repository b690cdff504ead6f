"""Starts certification: what the database refuses, and the answers lower apps wait for."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class CertificationConfig(AppConfig):
    name = "certification"
    verbose_name = _("Certification")

    def ready(self) -> None:
        from assessments import gates as assessments_gates
        from records import verify
        from training import gates as training_gates
        from training import navigation

        from . import protected, signs_of_life  # noqa: F401 - listens to Celery
        from .services import (
            elsewhere,
            graders,
            requirements,
            schemes,
            standing,
            standing_changes,
            work_log_checks,
        )

        protected.declare()
        training_gates.on_facts_changed(standing.facts_changed)
        training_gates.on_whereabouts_changed(standing_changes.note_person)
        training_gates.register_scopes(schemes.scope_names)
        assessments_gates.register_may_grade(graders.may_grade)
        assessments_gates.register_rests_on(requirements.resting_on)
        verify.register_files(elsewhere.documents_to_verify)
        verify.register_files(work_log_checks.files_to_verify)
        staff = ["instructor", "quality", "line_lead"]
        checks = [*staff, "kiosk"]
        navigation.register(
            _("Bench check"),
            "certification:bench_check",
            checks,
            order=42,
            top_for=["line_lead", "kiosk"],
        )
        navigation.register(_("Bench"), "certification:bench", ["instructor"], order=10)
        navigation.register(_("Register"), "certification:register", staff, order=40)
        navigation.register(
            _("List for the wall"), "certification:wall_list", staff, order=43, place="foot"
        )
        navigation.register(
            _("Months ahead"), "certification:months_ahead", staff, order=42, place="foot"
        )
        navigation.register(_("My card"), "certification:my_card", order=5, place="foot")
        navigation.register(
            _("Language and mails"), "certification:mail_choices", order=90, place="foot"
        )
        navigation.register(
            _("Find"), "certification:find", ["instructor", "quality"], place="find"
        )
        navigation.register(
            _("Tokens of programs"),
            "certification:api_token_list",
            ["administrator"],
            order=83,
            place="foot",
        )
        decide = ["instructor", "quality"]
        navigation.register(_("Proposals"), "certification:proposal_list", decide, order=45)
        quality = ["quality"]
        navigation.register(_("Work\u00a0log"), "certification:work_log", quality, order=42)
        watch = ["instructor", "quality", "administrator"]
        administers = ["administrator"]
        navigation.register(
            _("Web hooks"), "certification:hook_list", administers, order=82, place="foot"
        )
        navigation.register(_("Reminders"), "certification:reminders", watch, order=75)
        navigation.register(_("Health"), "certification:health", ["administrator"], order=90)
