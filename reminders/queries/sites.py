"""At which sites the hour of the day's sweep has come."""

from datetime import date, datetime

from people.models import Site


def sites_to_sweep(now: datetime, on: date | None = None) -> list[tuple[Site, date]]:
    """The sites whose hour has come, each with its day; all of them where a day is given."""
    sites = []
    for site in Site.objects.order_by("pk"):
        day = on or site.today(now)
        if on is None and now.astimezone(site.zone).hour < site.send_hour:
            continue
        if site.reminders_start_on is None or day >= site.reminders_start_on:
            sites.append((site, day))
    return sites
