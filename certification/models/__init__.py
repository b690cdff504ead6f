from .certificates import (
    Certificate,
    CertificateDocument,
    CertificateEvent,
    CertificateName,
    CertificateWithdrawal,
    Proposal,
)
from .class_plans import ClassPlan, PlannedNeed
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
    "ClassPlan",
    "KnownEnd",
    "KnownRegister",
    "KnownSpan",
    "Operation",
    "PlannedNeed",
    "Proposal",
    "Scheme",
    "SchemeRequirement",
    "SchemeRevision",
    "Scope",
    "StandingChange",
    "StandingEnd",
    "StandingSpan",
]
