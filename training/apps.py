from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class TrainingConfig(AppConfig):
    name = "training"

    def ready(self) -> None:
        from . import navigation, protected

        protected.declare()
        staff = ["line_lead", "instructor", "quality", "administrator"]
        readers = ["instructor", "quality"]
        navigation.register(_("People"), "training:person_list", staff, order=30)
        navigation.register(_("Classes"), "training:class_list", readers, order=35)
        navigation.register(_("Exercises"), "training:exercise_list", order=60)
        navigation.register(_("Courses"), "training:course_list", order=65, place="foot")
        administers = ["administrator"]
        navigation.register(_("Kiosks"), "training:kiosk_list", administers, order=82, place="foot")
        keeps = ["instructor", "administrator"]
        navigation.register(
            _("Shared tablets"), "training:tablet_list", keeps, order=81, place="foot"
        )
        navigation.register(_("Badge and PIN"), "training:pin", order=94, place="foot")
        navigation.register(_("Sites"), "training:site_list", administers, order=80)
        navigation.register(_("Tools"), "training:tool_list", readers, order=85, place="foot")
