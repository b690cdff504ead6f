"""Starts audit: the files it keeps are verified, and its page stands in the menu."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class AuditConfig(AppConfig):
    name = "audit"
    verbose_name = _("Audit")

    def ready(self) -> None:
        from audit.presenters import found
        from audit.queries import personal_data
        from audit.services import erasing, evidence_packs, work_log_checks
        from people import ports as people_ports
        from people.presenters import navigation, search
        from records.queries import verification

        people_ports.on_personal_data(personal_data.personal_data)
        people_ports.on_erasure(erasing.erase_packs)
        verification.register_files(work_log_checks.files_to_verify)
        verification.register_files(evidence_packs.files_to_verify)
        navigation.register(_("Work\u00a0log"), "audit:work_log", ["quality"], order=42)
        navigation.register(
            _("Evidence packs"), "audit:evidence_packs", ["quality"], order=43, place="foot"
        )
        navigation.register(
            _("Bring a list of people"),
            "audit:people_list_new",
            ["quality", "administrator"],
            order=79,
            place="foot",
        )
        search.register("units", _("Units and work orders"), found.units_and_work_orders, order=50)
