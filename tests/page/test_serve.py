"""Ports, addresses and the certificate made on the spot."""

from __future__ import annotations

import datetime
import ipaddress
import ssl
import stat
import webbrowser

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from huehold.errors import UsageError
from huehold.page import serve
from huehold.page.addresses import free_port, lan_addresses
from huehold.page.certificate import certificate_files, make_certificate
from huehold.page.serve import PageServer
from tests.page.story import served


def test_a_port_that_is_taken_is_one_clear_sentence():
    taken = free_port("127.0.0.1", 0)
    taken.listen()
    port = taken.getsockname()[1]
    with pytest.raises(UsageError, match=rf"Port {port} .* cannot be used .* --port"):
        free_port("127.0.0.1", port)
    taken.close()


def test_no_local_network(monkeypatch):
    monkeypatch.setattr(serve, "lan_addresses", lambda: ())
    with pytest.raises(UsageError, match="in no local network"):
        PageServer(object(), lan=True)  # type: ignore[arg-type]


@pytest.mark.parametrize("how", [lambda _: False, lambda _: 1 / 0])
def test_no_browser_is_one_sentence(monkeypatch, tmp_path, how):
    def fails(address: str) -> bool:
        try:
            return how(address)
        except ZeroDivisionError:
            raise webbrowser.Error("none") from None

    monkeypatch.setattr(serve.webbrowser, "open", fails)
    said: list[str] = []
    with served(tmp_path) as s:
        s.server._open(said.append)
    assert said == ["No browser can be opened from here; open the address above in one yourself."]


def test_addresses_are_those_of_neighbours():
    for address in lan_addresses():
        assert not ipaddress.ip_address(address).is_loopback


def test_loopback_only_unless_asked(tmp_path):
    with served(tmp_path) as s:
        assert s.server.lan_address is None
        assert s.server._listener.getsockname()[0] == "127.0.0.1"
        assert "/enter#" in s.server.address


def test_the_certificate_is_what_phones_ask_for():
    now = datetime.datetime(2026, 3, 1, tzinfo=datetime.UTC)
    pem, key, fingerprint = make_certificate(["192.0.2.7", "localhost"], now)
    made = x509.load_pem_x509_certificate(pem)
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.IPAddress) == [ipaddress.ip_address("192.0.2.7")]
    assert names.get_values_for_type(x509.DNSName) == ["localhost"]
    usage = made.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert x509.oid.ExtendedKeyUsageOID.SERVER_AUTH in usage
    assert not made.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert made.not_valid_before_utc < now < made.not_valid_after_utc
    assert made.not_valid_after_utc - now <= datetime.timedelta(days=825)
    assert fingerprint.replace(":", "").lower() == made.fingerprint(hashes.SHA256()).hex()
    assert b"PRIVATE KEY" in key


def test_the_key_is_lent_to_this_user_only_and_taken_back():
    pem, key, _ = make_certificate(["127.0.0.1"])
    with certificate_files(pem, key) as (certificate_path, key_path):
        assert stat.S_IMODE(key_path.stat().st_mode) == 0o600
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate_path, key_path)
    assert not key_path.exists()


def test_every_run_has_keys_of_its_own(tmp_path):
    with served(tmp_path) as s:
        one, two = s.server.address, s.server.address
        assert one != two
        assert len(one.split("#")[1]) >= 32
