"""Time stamps of checkpoints by an authority that OpenSSL, the reference for RFC 3161, runs."""

from __future__ import annotations

import http.server
import json
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.works.plan_day_works import small_works

from wareleaf.cli.main import cli
from wareleaf.measure import BadInput
from wareleaf.works import seal_book, stamp

pytestmark = pytest.mark.slow
CONFIG = """
[ req ]
distinguished_name = dn
prompt = no
[ dn ]
CN = Foreshore time
[ root ]
basicConstraints = critical,CA:TRUE
keyUsage = critical,keyCertSign
[ tsa ]
basicConstraints = critical,CA:FALSE
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
[ tsa_config ]
serial = serial
default_policy = 1.2.3.4.1
digests = sha512
accuracy = secs:1
signer_digest = sha256
ess_cert_id_alg = sha256
"""


@dataclass(frozen=True)
class Authority:
    """A time-stamp authority in a folder."""

    folder: Path

    def run(self, *words: str) -> None:
        subprocess.run(["openssl", *words], cwd=self.folder, check=True, capture_output=True)

    def answer(self, request: bytes) -> bytes:
        (self.folder / "q.tsq").write_bytes(request)
        how = "ts -reply -config c.cnf -section tsa_config -queryfile q.tsq -out a.tsr"
        self.run(*how.split(), *["-signer", "tsa.pem", "-inkey", "tsa.key"])
        return (self.folder / "a.tsr").read_bytes()

    @property
    def root(self) -> bytes:
        return (self.folder / "root.pem").read_bytes()


def authority_in(folder: Path) -> Authority:
    made = Authority(folder)
    (folder / "c.cnf").write_text(CONFIG)
    (folder / "serial").write_text("01")
    key = "-newkey rsa:2048 -nodes -config c.cnf"
    made.run(*f"req -x509 {key} -extensions root -keyout root.key -out root.pem -days 30".split())
    made.run(*f"req {key} -subj /CN=Foreshore-stamps -keyout tsa.key -out tsa.csr".split())
    sign = "x509 -req -in tsa.csr -CA root.pem -CAkey root.key -CAcreateserial -days 29"
    made.run(*sign.split(), *["-extfile", "c.cnf", "-extensions", "tsa", "-out", "tsa.pem"])
    return made


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return authority_in(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def url(authority: Authority) -> Iterator[str]:
    class Answers(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            assert self.headers["Content-Type"] == "application/timestamp-query"
            body = authority.answer(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *words: object) -> None:
            """Stay quiet."""

    with http.server.HTTPServer(("127.0.0.1", 0), Answers) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()


@pytest.fixture
def sealed(tmp_path: Path):
    small = small_works(tmp_path)
    lot = small.take("line-01", 500.0)
    seal_book.seal_now(small.works, "four words of kelp")
    return small.works, lot.lot_id


def test_a_stamp_is_got_kept_and_checked_with_the_receipt(
    sealed, authority: Authority, url: str, tmp_path: Path
) -> None:
    works, lot_id = sealed
    size, note = stamp.note_of(works)
    made = stamp.keep(works, stamp.ask(url, note), authority.root)
    assert made.size == size
    assert abs(made.at - datetime.now(UTC)) < timedelta(minutes=5)
    assert made.by == "CN=Foreshore-stamps"
    assert stamp.stamps(works) == [made]
    receipt = stamp.with_stamp(works, seal_book.receipt_of(works, lot_id))
    file, root = tmp_path / "r.json", tmp_path / "root.pem"
    file.write_text(json.dumps(receipt))
    root.write_bytes(authority.root)
    key = seal_book.state_of(works).vkeys[-1]
    said = CliRunner().invoke(
        cli, ["verify-receipt", str(file), "--key", key, "--stamp-ca", str(root)]
    )
    assert said.exit_code == 0, said.output
    assert "says CN=Foreshore-stamps" in said.output


def test_openssl_agrees_that_the_stamp_is_on_the_checkpoint(
    sealed, authority: Authority, tmp_path: Path
) -> None:
    _, note = stamp.note_of(sealed[0])
    (authority.folder / "note").write_text(note)
    (authority.folder / "kept.tsr").write_bytes(authority.answer(stamp.request_for(note)))
    authority.run(*["ts", "-verify", "-data", "note", "-in", "kept.tsr", "-CAfile", "root.pem"])


def test_a_stamp_on_something_else_or_of_someone_else_is_refused(
    sealed, authority: Authority, tmp_path: Path
) -> None:
    works, _ = sealed
    _, note = stamp.note_of(works)
    other = authority.answer(stamp.request_for(note + "x"))
    with pytest.raises(BadInput, match="does not hold"):
        stamp.keep(works, other, authority.root)
    good = authority.answer(stamp.request_for(note))
    with pytest.raises(BadInput, match="does not hold"):
        stamp.keep(works, good, authority_in(tmp_path).root)
    with pytest.raises(BadInput, match="is no time stamp"):
        stamp.keep(works, b"hello", authority.root)
    with pytest.raises(BadInput, match="cannot be read as PEM"):
        stamp.keep(works, good, b"hello")
    assert stamp.stamps(works) == []


def test_an_authority_that_is_away_is_said_so(sealed) -> None:
    works, _ = sealed
    with pytest.raises(BadInput, match="does not answer"):
        stamp.ask("http://127.0.0.1:9/", "note")
    with pytest.raises(BadInput, match="must begin with https"):
        stamp.ask("file:///etc/passwd", "note")
    with pytest.raises(BadInput, match="No checkpoint of 99 events"):
        stamp.note_of(works, 99)
