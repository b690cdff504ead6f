"""A time-stamp server of a test's own: certificates by cryptography, stamps by openssl."""

import subprocess
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

CONFIGURATION = """
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
signer_cert = {folder}/signer.pem
certs = {folder}/root.pem
signer_key = {folder}/signer.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
ess_cert_id_alg = sha256
"""


def make_certificates(folder: Path, lasts: timedelta = timedelta(days=30)) -> Path:
    """A root and a signer for time stamps; returns the root's PEM file."""
    now = datetime.now(UTC)
    keys = {name: ec.generate_private_key(ec.SECP256R1()) for name in ("root", "signer")}
    for name in ("root", "signer"):
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Invented {name}")])
        issuer = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Invented root")])
        builder = (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(issuer)
            .public_key(keys[name].public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(days=1))
            .not_valid_after(now + (lasts if name == "signer" else timedelta(days=365)))
            .add_extension(x509.BasicConstraints(name == "root", None), critical=True)
        )
        if name == "signer":
            usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING])
            builder = builder.add_extension(usage, critical=True)
        made = builder.sign(keys["root"], hashes.SHA256())
        (folder / f"{name}.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    (folder / "signer.key").write_bytes(
        keys["signer"].private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    (folder / "tsa.cnf").write_text(CONFIGURATION.format(folder=folder))
    (folder / "serial").write_text("01\n")
    return folder / "root.pem"


class TimeStampServer:
    """Answers on a port of its own until it is stopped; ``answer`` may stand for what it says."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.asked = 0
        self.answer: tuple[int, bytes] | None = None
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                query = self.rfile.read(int(self.headers["Content-Length"]))
                outer.asked += 1
                status, content = outer.answer or (200, outer.stamp(query))
                self.send_response(status)
                self.send_header("Content-Type", "application/timestamp-reply")
                self.send_header("Content-Length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)

            def log_message(self, *_given: object) -> None:
                pass

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/stamp"
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)
        self.thread.start()

    def stamp(self, query: bytes) -> bytes:
        (self.folder / "query").write_bytes(query)
        subprocess.run(
            [
                *("openssl", "ts", "-reply", "-config", str(self.folder / "tsa.cnf")),
                *("-queryfile", str(self.folder / "query"), "-out", str(self.folder / "reply")),
            ],
            check=True,
            capture_output=True,
        )
        return (self.folder / "reply").read_bytes()

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()
