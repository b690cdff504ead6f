"""Starts certification: what the database refuses, and the answers lower apps wait for."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class CertificationConfig(AppConfig):
    name = "certification"
    verbose_name = _("Certification")

    def ready(self) -> None:
        from assessments import ports as assessments_ports
        from certification import access, protected
        from certification.presenters import found, return_matters
        from certification.queries import (
            graders,
            needs,
            paths,
            personal_data,
            purposes,
            requirements,
            schemes_in_force,
            schemes_written_down,
            standing_today,
            teachers,
            written_down,
        )
        from certification.services import (
            certificates_from_elsewhere,
            erasing,
            standing,
            standing_changes,
            starter,
        )
        from people import ports as people_ports
        from people.presenters import navigation, search
        from records.queries import verification
        from training import ports as training_ports

        protected.declare()
        written_down.register()
        schemes_written_down.register()
        people_ports.on_whereabouts_changed(standing_changes.note_person)
        people_ports.on_return(return_matters.matters_on_return)
        people_ports.on_personal_data(personal_data.personal_data)
        people_ports.on_names(erasing.names_of_holder)
        people_ports.on_erasure(erasing.erase_holder)
        training_ports.on_facts_changed(standing.facts_changed)
        training_ports.register_scopes(schemes_in_force.scope_names)
        training_ports.register_vision_ends(standing_today.with_vision_ends)
        training_ports.register_practice_ends(standing_today.practice_ends)
        training_ports.register_certified(standing_today.certified)
        training_ports.register_needs(needs.needs)
        training_ports.register_not_entitled(teachers.not_entitled)
        assessments_ports.register_may_grade(graders.may_grade)
        assessments_ports.register_rests_on(requirements.resting_on)
        assessments_ports.register_purpose(purposes.proposed_purpose)
        assessments_ports.register_before_qualifying(paths.hindrances)
        assessments_ports.register_content(starter.load_at_installation)
        verification.register_files(certificates_from_elsewhere.documents_to_verify)
        staff = ["instructor", "quality", "line_lead"]
        decide = ["instructor", "quality"]
        checks = [*staff, "kiosk"]
        navigation.register(_("My card"), "certification:my_card", order=5, place="foot")
        navigation.register(_("Bench"), "certification:bench", ["instructor"], order=10)
        navigation.register(_("Register"), "certification:register", staff, order=40)
        navigation.register(
            _("Bench check"),
            "certification:bench_check",
            checks,
            order=42,
            top_for=["line_lead", "kiosk"],
        )
        navigation.register(
            _("Months ahead"), "certification:months_ahead", staff, order=42, place="foot"
        )
        navigation.register(
            _("Plans of classes"),
            "certification:class_plan_list",
            decide,
            order=42,
            place="foot",
        )
        navigation.register(
            _("List for the wall"), "certification:wall_list", staff, order=43, place="foot"
        )
        navigation.register(
            _("Work missing"), "certification:work_missing", staff, order=44, place="foot"
        )
        navigation.register(
            _("Proposals"),
            "certification:proposal_list",
            decide,
            order=45,
            count=access.proposals_to_decide,
        )
        keepers = ["instructor", "quality", "administrator"]
        navigation.register(
            _("Schemes"),
            "certification:scheme_list",
            keepers,
            order=71,
            place="foot",  # The top line is full; scopes and operations lead there too.
        )
        navigation.register(
            _("Scopes"), "certification:scope_list", keepers, order=72, place="foot"
        )
        navigation.register(
            _("Routing operations"), "certification:operation_list", keepers, order=73, place="foot"
        )
        search.register("certificates", _("Certificates"), found.certificates, order=40)
