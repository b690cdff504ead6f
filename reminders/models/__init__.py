from .calendars import CalendarFeed
from .mail_choices import MailChoice
from .reminders import Message, Reminder, SiteSweep

__all__ = ["CalendarFeed", "MailChoice", "Message", "Reminder", "SiteSweep"]
