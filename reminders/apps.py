from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class RemindersConfig(AppConfig):
    name = "reminders"
    verbose_name = _("Reminders")

    def ready(self) -> None:
        from assessments import ports as assessments_ports
        from people import ports as people_ports
        from people.presenters import navigation
        from reminders.queries import personal_data
        from reminders.services import class_letters, erasing, paper_notes, tool_notes
        from training import ports as training_ports

        people_ports.on_personal_data(personal_data.personal_data)
        people_ports.on_erasure(erasing.erase_mails)
        training_ports.register_send_class_letters(class_letters.send_class_letters)
        training_ports.register_send_tool_note(tool_notes.send_tool_note)
        assessments_ports.register_send_paper_notes(paper_notes.send_paper_notes)
        watch = ["instructor", "quality", "administrator"]
        navigation.register(_("Reminders"), "reminders:reminders", watch, order=75)
        navigation.register(
            _("Language and mails"), "reminders:mail_choices", order=90, place="foot"
        )
