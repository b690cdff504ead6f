from datetime import timedelta

from django.db import migrations


def fill(apps, schema_editor):
    """Give every class its days: as they were counted, and those that people attended.

    They were the working days at its site. A class that begins or ends on a day off is held on
    every day, since its first and last day were chosen for it.
    """
    session_day = apps.get_model("training", "SessionDay")
    attendance = apps.get_model("training", "Attendance")
    sessions = apps.get_model("training", "ClassSession").objects.filter(days__isnull=True)
    for session in sessions.select_related("site"):
        length = (session.ends_on - session.starts_on).days + 1
        days = [session.starts_on + timedelta(days=n) for n in range(length)]
        working = {day for day in days if day.isoweekday() in session.site.working_days}
        if {session.starts_on, session.ends_on} <= working:
            attended = attendance.objects.filter(enrolment__session=session)
            held = working | set(attended.values_list("day", flat=True))
        else:
            held = set(days)
        session_day.objects.bulk_create(
            session_day(session=session, day=day) for day in sorted(held)
        )


class Migration(migrations.Migration):
    dependencies = [("training", "0003_session_days")]

    # Going back, the table goes with its rows.
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
