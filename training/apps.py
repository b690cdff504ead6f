"""Starts training: what the database refuses, its pages, and what people's pages show of it."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class TrainingConfig(AppConfig):
    name = "training"

    def ready(self) -> None:
        from people import ports as people_ports
        from people.presenters import navigation, search
        from records.queries.verification import register_files
        from training import protected
        from training.presenters import found
        from training.presenters.person_record import person_record
        from training.queries import departures, personal_data, written_down
        from training.services import erasing, tools

        protected.declare()
        written_down.register()
        register_files(tools.documents_to_verify)
        people_ports.register_person_record(person_record)
        people_ports.on_departure(departures.matters_of_departure)
        people_ports.on_personal_data(personal_data.personal_data)
        people_ports.on_erasure(erasing.erase_whereabouts)
        readers = ["instructor", "quality"]
        navigation.register(_("Classes"), "training:class_list", readers, order=35)
        navigation.register(_("Classes to come"), "training:class_offers", order=6, place="foot")
        navigation.register(
            _("Vision tests"), "training:vision_grid", readers, order=36, place="foot"
        )
        navigation.register(
            _("Record practice"),
            "training:work_grid",
            [*readers, "line_lead"],
            order=37,
            top_for=["line_lead"],
        )
        navigation.register(
            _("Reported work"),
            "training:work_reported",
            [*readers, "line_lead"],
            order=38,
            place="foot",
        )
        navigation.register(_("My work"), "training:my_work", order=6, place="foot")
        navigation.register(_("Exercises"), "training:exercise_list", order=60)
        navigation.register(_("Courses"), "training:course_list", order=65, place="foot")
        navigation.register(_("Rooms"), "training:room_list", readers, order=66, place="foot")
        navigation.register(
            _("Days away"),
            "training:absence_list",
            ["instructor", "line_lead"],
            order=68,
            place="foot",
        )
        navigation.register(
            _("Tools"),
            "training:tool_list",
            readers,
            order=85,
            place="foot",
            covers=["training:calibration_grid"],
        )
        search.register("classes", _("Classes"), found.classes, order=60)
        search.register("exercises", _("Exercises"), found.exercises, order=70)
