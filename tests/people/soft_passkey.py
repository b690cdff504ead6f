"""A passkey made of code, which answers a site as a browser and a device would."""

import json
from dataclasses import dataclass, field
from hashlib import sha256
from secrets import token_bytes
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from fido2.cose import ES256
from fido2.utils import websafe_encode
from fido2.webauthn import (
    Aaguid,
    AttestationObject,
    AttestedCredentialData,
    AuthenticatorData,
    CollectedClientData,
)

FLAG = AuthenticatorData.FLAG


@dataclass
class SoftPasskey:
    """One credential; what a test changes of an answer is an argument."""

    origin: str
    uses: int = 0
    credential_id: bytes = field(default_factory=lambda: token_bytes(32))
    key: Any = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))

    def make(self, options: dict, *, verified: bool = True, origin: str = "") -> str:
        public = options["publicKey"]
        credential = AttestedCredentialData.create(
            Aaguid.NONE, self.credential_id, ES256.from_cryptography_key(self.key.public_key())
        )
        data = AuthenticatorData.create(
            sha256(public["rp"]["id"].encode()).digest(),
            FLAG.UP | FLAG.AT | (FLAG.UV if verified else 0),
            self.uses,
            credential,
        )
        return self._answer(
            public,
            "webauthn.create",
            origin,
            lambda _client: {
                "attestationObject": websafe_encode(AttestationObject.create("none", data, {}))
            },
        )

    def use(
        self, options: dict, *, verified: bool = True, origin: str = "", rp_id: str = ""
    ) -> str:
        public = options["publicKey"]
        self.uses += 1
        data = AuthenticatorData.create(
            sha256((rp_id or public["rpId"]).encode()).digest(),
            FLAG.UP | (FLAG.UV if verified else 0),
            self.uses,
        )

        def signed(client: CollectedClientData) -> dict[str, str]:
            signature = self.key.sign(data + client.hash, ec.ECDSA(SHA256()))
            return {
                "authenticatorData": websafe_encode(data),
                "signature": websafe_encode(signature),
            }

        return self._answer(public, "webauthn.get", origin, signed)

    def _answer(self, public: dict, kind: str, origin: str, rest: Any) -> str:
        client = CollectedClientData.create(kind, public["challenge"], origin or self.origin)
        return json.dumps(
            {
                "id": websafe_encode(self.credential_id),
                "rawId": websafe_encode(self.credential_id),
                "type": "public-key",
                "response": {"clientDataJSON": websafe_encode(client), **rest(client)},
            }
        )
