from .calendars import ClosedDay
from .memberships import SiteMembership, SiteMembershipWithdrawal
from .particulars import LineLeadChange, NameChange, Return
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
from .sign_in_codes import SignInCode
from .tablets import BadgePin, SharedTablet, TabletUse, WrongTries

__all__ = [
    "BadgePin",
    "ClosedDay",
    "FormerEmployeeNumber",
    "Installation",
    "LineLeadChange",
    "NameChange",
    "PasskeyChallenge",
    "Person",
    "ProviderLink",
    "Return",
    "Role",
    "SharedTablet",
    "SignInCode",
    "Site",
    "SiteMembership",
    "SiteMembershipWithdrawal",
    "SiteRole",
    "Stamp",
    "TabletUse",
    "User",
    "WrongTries",
]
