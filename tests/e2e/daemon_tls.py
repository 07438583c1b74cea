#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""TLS to a real broker with throw-away authorities: the right name passes; another host name, an
unknown authority, an expired certificate and one not yet valid are refused and said in words; so are a
password or key that others may read, with file and line.  It goes on trying, and what is mended is taken
without a restart.

usage: daemon_tls.py WITHERD
"""
import os
import subprocess
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

TOPIC = "shed/north-room"


def openssl(folder, *arguments):
    out = subprocess.run(["openssl", *arguments], cwd=folder, capture_output=True, text=True,
                         check=False)
    assert out.returncode == 0, (arguments, out.stderr)


def make_authority(folder, name):
    os.makedirs(folder, exist_ok=True)
    openssl(folder, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
            "-nodes", "-days", "30", "-subj", f"/CN=test authority {name}", "-addext",
            "basicConstraints=critical,CA:TRUE", "-keyout", f"{name}-key.pem", "-out", f"{name}.pem")
    # The time of a signature is given by `openssl ca`, which wants a little book-keeping.
    with open(f"{folder}/{name}.cnf", "w", encoding="utf-8") as out:
        out.write(f"""[ca]
default_ca = own
[own]
dir = {folder}
database = {folder}/{name}.index
serial = {folder}/{name}.serial
new_certs_dir = {folder}
certificate = {folder}/{name}.pem
private_key = {folder}/{name}-key.pem
default_md = sha256
policy = any
unique_subject = no
[any]
commonName = supplied
""")
    open(f"{folder}/{name}.index", "w", encoding="utf-8").close()
    with open(f"{folder}/{name}.serial", "w", encoding="utf-8") as out:
        out.write("01\n")


def make_certificate(folder, name, authority, alternative, begin_s=-86400, end_s=86400 * 20,
                     usage="serverAuth"):
    stamp = [time.strftime("%Y%m%d%H%M%SZ", time.gmtime(time.time() + s)) for s in (begin_s, end_s)]
    with open(f"{folder}/{name}.ext", "w", encoding="utf-8") as out:
        out.write(f"extendedKeyUsage={usage}\nsubjectAltName={alternative}\n")
    openssl(folder, "req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
            "-nodes", "-subj", f"/CN={name}", "-keyout", f"{name}-key.pem", "-out", f"{name}.csr")
    openssl(folder, "ca", "-batch", "-notext", "-config", f"{authority}.cnf", "-startdate", stamp[0],
            "-enddate", stamp[1], "-extfile", f"{name}.ext", "-in", f"{name}.csr", "-out",
            f"{name}.pem")


class Bench(rig.Rig):
    def __init__(self, witherd):
        super().__init__(witherd)
        self.certs = f"{self.work}/certs"
        make_authority(self.certs, "house")
        make_authority(self.certs, "stranger")
        names = "DNS:localhost,IP:127.0.0.1"
        make_certificate(self.certs, "good", "house", names)
        make_certificate(self.certs, "other-name", "house", "DNS:elsewhere.invalid")
        make_certificate(self.certs, "expired", "house", names, -86400 * 10, -86400)
        make_certificate(self.certs, "coming", "house", names, 86400, 86400 * 10)
        make_certificate(self.certs, "unknown", "stranger", names)
        make_certificate(self.certs, "client", "house", "DNS:witherd", usage="clientAuth")

    def serve(self, name, more="allow_anonymous true\n"):
        self.stop_broker()
        self.start_broker(f"cafile {self.certs}/house.pem\ncertfile {self.certs}/{name}.pem\n"
                          f"keyfile {self.certs}/{name}-key.pem\ntls_version tlsv1.2\n{more}")

    def write(self, version=5, host="localhost", more=""):
        self.write_config(broker=f"[broker]\nhost = {host}\nport = {self.port}\ntls = yes\n"
                                 f"ca_file = {self.certs}/house.pem\nversion = {version}\n{more}")

    def hears(self, words, state=None):
        def said():
            broker = self.ask("stations")["broker"]
            return words in broker["text"] and (not state or broker["state"] == state)
        said.__doc__ = f"the daemon to say '{words}'"
        try:
            rig.wait_for(said, 90)
        except AssertionError as fault:
            raise AssertionError(f"{fault}: {self.ask('stations')['broker']}\n{self.log_text()}")

    def is_let_in(self):
        """A reading comes through."""
        before = self.ask("health")["facts"]["readings"]
        self.readings = getattr(self, "readings", 0) + 1
        rig.wait_for(self.connected, 90)
        time.sleep(0.3)
        out = subprocess.run(
            ["mosquitto_pub", "-h", "localhost", "-p", str(self.port), "--cafile",
             f"{self.certs}/house.pem", "--cert", f"{self.certs}/client.pem", "--key",
             f"{self.certs}/client-key.pem", "-u", "shelf", "-P", "of oak", "-q", "1", "-t", TOPIC,
             "-m", f'{{"temperature":{20 + self.readings / 10},"humidity":60}}'],
            capture_output=True, text=True, check=False)
        assert out.returncode == 0, out.stderr
        rig.wait_for(lambda: self.ask("health")["facts"]["readings"] == before + 1)


def test_certificates(witherd):
    bench = Bench(witherd)
    try:
        for version in (5, 3):
            bench.write(version)
            bench.serve("other-name")
            bench.start()
            # One run: the broker is mended step by step, the daemon is not touched.
            bench.hears("certificate is for another host name", "refused")
            assert "broker_refused" in bench.codes()
            bench.serve("expired")
            bench.hears("certificate has expired", "refused")
            bench.serve("good")
            bench.is_let_in()
            assert bench.stop() == 0
    finally:
        bench.close()


def test_strangers(witherd):
    bench = Bench(witherd)
    try:
        bench.write()
        bench.serve("unknown")
        bench.start()
        bench.hears("not from an authority of ca_file", "refused")
        bench.serve("coming")
        bench.hears("not valid yet; is the clock of this machine right?", "refused")
        # No TLS at all where TLS is wanted: never fallen back to.
        bench.stop_broker()
        bench.start_broker()
        bench.hears("does not speak TLS", "connecting")
        assert not bench.connected()
        assert bench.stop() == 0
        # And the other way round.
        bench.write_config(broker=f"[broker]\nhost = localhost\nport = {bench.port}\n")
        bench.serve("good")
        bench.start()
        bench.hears("does it want 'tls = yes'?", "connecting")
        assert bench.stop() == 0
        # By its address; a certificate of our own is asked for.
        bench.write(host="127.0.0.1")
        bench.serve("good", "allow_anonymous true\nrequire_certificate true\n")
        bench.start()
        bench.hears("does it want cert_file and key_file?", "connecting")
        bench.write(host="127.0.0.1", more=f"cert_file = {bench.certs}/client.pem\n"
                                           f"key_file = {bench.certs}/client-key.pem\n")
        assert bench.stop() == 0
        bench.start()
        bench.is_let_in()
        assert bench.stop() == 0
        lines = [l for l in bench.log_text().splitlines() if "the broker at" in l]
        assert len(lines) < 20, "\n".join(lines)
    finally:
        bench.close()


def test_secrets(witherd):
    bench = Bench(witherd)
    secret, key = f"{bench.work}/password", f"{bench.certs}/client-key.pem"
    try:
        passwords = f"{bench.work}/passwords"
        open(passwords, "w", encoding="utf-8").close()
        os.chmod(passwords, 0o600)
        for name, word in (("witherd", "open sesame"), ("shelf", "of oak")):
            subprocess.run(["mosquitto_passwd", "-b", passwords, name, word], check=True,
                           capture_output=True)
        bench.serve("good", f"allow_anonymous false\npassword_file {passwords}\n")
        bench.write(more=f"user = witherd\npassword_file = {secret}\n"
                         f"cert_file = {bench.certs}/client.pem\nkey_file = {key}\n")
        lines = open(bench.config, encoding="utf-8").read().splitlines()
        where = {name: f"{bench.config}:{1 + lines.index(f'{name} = {path}')}: {name} '{path}': "
                 for name, path in (("password_file", secret), ("key_file", key))}
        with open(secret, "w", encoding="utf-8") as out:
            out.write("open sesame\n")
        os.chmod(secret, 0o644)
        os.chmod(key, 0o604)
        out = bench.run("--check")
        assert out.returncode == 78 and where["password_file"] in out.stderr, out
        assert where["key_file"] in out.stderr and "0600" in out.stderr, out
        bench.start()
        bench.hears(where["password_file"] + "may be read by others", "refused")
        os.chmod(secret, 0o600)
        bench.hears(where["key_file"] + "may be read by others", "refused")
        os.chmod(key, 0o600)
        bench.is_let_in()
        assert bench.run("--check").returncode == 0
        # A wrong word is the broker's to refuse.
        assert bench.stop() == 0
        with open(secret, "w", encoding="utf-8") as out:
            out.write("open barley\n")
        bench.start()
        bench.hears("not authorised", "refused")
        log = bench.log_text()
        assert "sesame" not in log and "barley" not in log
        assert where["password_file"] in log
        assert bench.stop() == 0
    finally:
        bench.close()


def main():
    witherd = sys.argv[1]
    wanted = sys.argv[2:]
    for name, test in sorted(globals().items()):
        if name.startswith("test_") and (not wanted or name in wanted):
            began = time.monotonic()
            test(witherd)
            print(f"ok {name} {time.monotonic() - began:.1f} s", flush=True)


main()
