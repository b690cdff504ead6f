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
from .tablets import BadgePin, SharedTablet, TabletUse, WrongTries

__all__ = [
    "BadgePin",
    "FormerEmployeeNumber",
    "Installation",
    "PasskeyChallenge",
    "Person",
    "Role",
    "SharedTablet",
    "Site",
    "SiteRole",
    "Stamp",
    "TabletUse",
    "User",
    "WrongTries",
]
