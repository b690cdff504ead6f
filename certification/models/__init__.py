from .certificates import (
    Certificate,
    CertificateDocument,
    CertificateEvent,
    CertificateName,
    CertificateWithdrawal,
    Proposal,
)
from .known_registers import KnownEnd, KnownRegister, KnownSpan
from .schemes import Operation, Scheme, SchemeRequirement, SchemeRevision, Scope
from .standing import StandingEnd, StandingSpan
from .standing_changes import StandingChange

__all__ = [
    "Certificate",
    "CertificateDocument",
    "CertificateEvent",
    "CertificateName",
    "CertificateWithdrawal",
    "KnownEnd",
    "KnownRegister",
    "KnownSpan",
    "Operation",
    "Proposal",
    "Scheme",
    "SchemeRequirement",
    "SchemeRevision",
    "Scope",
    "StandingChange",
    "StandingEnd",
    "StandingSpan",
]
