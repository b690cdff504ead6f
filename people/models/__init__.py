from .memberships import SiteMembership, SiteMembershipWithdrawal
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
from .tablets import BadgePin, SharedTablet, TabletUse, WrongTries

__all__ = [
    "BadgePin",
    "FormerEmployeeNumber",
    "Installation",
    "Person",
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
