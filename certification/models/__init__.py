from .certificates import (
    Certificate,
    CertificateDocument,
    CertificateEvent,
    CertificateName,
    CertificateWithdrawal,
    Proposal,
)
from .class_plans import ClassPlan, PlannedNeed
from .credentials import Credential, PublicCode, SigningKey
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
    "Credential",
    "KnownEnd",
    "KnownRegister",
    "KnownSpan",
    "Operation",
    "PlannedNeed",
    "Proposal",
    "PublicCode",
    "Scheme",
    "SchemeRequirement",
    "SchemeRevision",
    "Scope",
    "SigningKey",
    "StandingChange",
    "StandingEnd",
    "StandingSpan",
]
