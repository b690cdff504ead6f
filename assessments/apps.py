from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy


class AssessmentsConfig(AppConfig):
    name = "assessments"

    def ready(self) -> None:
        from people import ports as people_ports
        from people.presenters import drawings, navigation, search
        from records.queries.verification import register_files
        from training import ports as training_ports

        from . import protected
        from .models import CriterionDrawing
        from .presenters import criterion_drawings, found
        from .queries import criteria_sets, departures, personal_data, written_down
        from .services import photos

        protected.declare()
        drawings.register(
            CriterionDrawing.PREFIX,
            criterion_drawings.site_drawing,
            criterion_drawings.site_drawing_title,
        )
        training_ports.register_own_drawings(criteria_sets.own_drawings)
        drawings.register(
            criterion_drawings.DRAWN,
            criterion_drawings.from_limits,
            criterion_drawings.title_from_limits,
        )
        drawings.register(criterion_drawings.HIDDEN, criterion_drawings.hidden)
        people_ports.on_departure(departures.matters_of_departure)
        people_ports.on_personal_data(personal_data.personal_data)
        written_down.register()
        register_files(photos.originals)
        navigation.register(
            _("Class day"),
            "assessments:class_day_today",
            ["instructor"],
            order=15,
            covers=["assessments:class_day"],
        )
        navigation.register(_("Boards"), "assessments:board_list", order=20)
        navigation.register(
            _("Sign what is judged"),
            "assessments:stages_sign",
            ["instructor"],
            order=21,
            place="foot",  # The bench and the class of the day lead there.
        )
        navigation.register(
            _("What fails most"),
            "assessments:what_fails",
            ["instructor", "quality"],
            order=22,
            place="foot",  # The top line is full; the bench and the boards lead there.
            covers=["assessments:what_fails_joints"],
        )
        navigation.register(
            pgettext_lazy("in the menu", "Acceptance criteria"),
            "assessments:criteria_list",
            order=70,
        )
        navigation.register(
            _("Photo set-ups"),
            "assessments:setup_list",
            ["instructor", "quality"],
            order=75,
            place="foot",  # The top line is full.
            covers=["assessments:setup_detail"],
        )
        navigation.register(
            _("Measurement studies"),
            "assessments:study_list",
            ["instructor", "quality"],
            order=76,
            place="foot",
            covers=[
                "assessments:study_new",
                "assessments:study_detail",
                "assessments:study_mark",
            ],
        )
        navigation.register(
            _("Written tests"),
            "assessments:written_test_list",
            order=72,
            place="foot",  # The top line is full.
            covers=[
                "assessments:written_test_new",
                "assessments:written_test_detail",
                "assessments:written_test_rules",
                "assessments:written_test_publish",
                "assessments:written_test_hand_out",
                "assessments:written_test_figures",
                "assessments:question_new",
                "assessments:question_edit",
                "assessments:paper_detail",
                "assessments:paper_enter",
                "assessments:paper_count_late",
            ],
        )
        search.register("boards", _("Boards"), found.boards, order=30)
        search.register("criteria", _("Acceptance criteria"), found.criteria, order=80)
