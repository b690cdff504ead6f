from .calendars import ClosedDay
from .memberships import SiteMembership, SiteMembershipWithdrawal
from .passkeys import PasskeyChallenge
from .people import (
    FormerEmployeeNumber,
    Installation,
    Person,
    Role,
    Site,
    SiteRole,
    Stamp,
    User,
)
from .providers import ProviderLink
from .tablets import BadgePin, SharedTablet, TabletUse, WrongTries

__all__ = [
    "BadgePin",
    "ClosedDay",
    "FormerEmployeeNumber",
    "Installation",
    "PasskeyChallenge",
    "Person",
    "ProviderLink",
    "Role",
    "SharedTablet",
    "Site",
    "SiteMembership",
    "SiteMembershipWithdrawal",
    "SiteRole",
    "Stamp",
    "TabletUse",
    "User",
    "WrongTries",
]
