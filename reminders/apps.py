from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class RemindersConfig(AppConfig):
    name = "reminders"
    verbose_name = _("Reminders")

    def ready(self) -> None:
        from people.presenters import navigation
        from reminders.services import class_letters
        from training import ports as training_ports

        training_ports.register_send_class_letters(class_letters.send_class_letters)
        watch = ["instructor", "quality", "administrator"]
        navigation.register(_("Reminders"), "reminders:reminders", watch, order=75)
        navigation.register(
            _("Language and mails"), "reminders:mail_choices", order=90, place="foot"
        )
