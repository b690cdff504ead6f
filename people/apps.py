from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class PeopleConfig(AppConfig):
    name = "people"
    verbose_name = _("People")

    def ready(self) -> None:
        from celery.signals import task_prerun
        from django.contrib.auth.signals import user_logged_in, user_logged_out
        from django.db.backends.signals import connection_created

        from people import ports, protected
        from people.middleware.moves import moves_begin_before_a_job
        from people.middleware.sign_ins import mark_sign_in, record_sign_out
        from people.presenters import navigation, search
        from people.queries import finding, personal_data, written_down

        protected.declare()
        ports.on_personal_data(personal_data.personal_data)
        written_down.register()
        connection_created.connect(finding.teach_sqlite)
        task_prerun.connect(moves_begin_before_a_job)
        user_logged_in.connect(mark_sign_in)
        user_logged_out.connect(record_sign_out)

        staff = ["line_lead", "instructor", "quality", "administrator"]
        administers = ["administrator"]
        keeps = ["instructor", "administrator"]
        navigation.register(_("People"), "people:person_list", staff, order=30)
        navigation.register(_("Sites"), "people:site_list", administers, order=80)
        navigation.register(
            _("Shared tablets"), "people:tablet_list", keeps, order=81, place="foot"
        )
        navigation.register(_("Kiosks"), "people:kiosk_list", administers, order=82, place="foot")
        navigation.register(
            _("Letters to sign in by"), "people:letters", administers, order=83, place="foot"
        )
        navigation.register(
            _("Stamps"), "people:stamp_list", ["quality", "administrator"], order=84, place="foot"
        )
        navigation.register(
            _("Site calendar"), "people:site_calendar", keeps, order=83, place="foot"
        )
        navigation.register(_("Find"), "people:find", ["instructor", "quality"], place="find")
        navigation.register(_("Second factor"), "people:second_factor", order=93, place="foot")
        navigation.register(_("Badge and PIN"), "people:pin", order=94, place="foot")
        navigation.register(_("Your data"), "people:own_personal_data", order=95, place="foot")
        search.register("people", _("People"), search.people, order=10)
        search.register("stamps", _("Stamps"), search.stamps, order=20)
