"""A mail server (aiosmtpd) that wants STARTTLS or TLS, and a login: port, cert, key, mode."""
import ssl
import sys
import time

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult


class Keep:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("nobody"):
            return "550 no such mailbox"
        if address.startswith("later"):
            return "451 try again later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        sys.stdout.write(envelope.content.decode() + "\r\n.\r\n")
        sys.stdout.flush()
        return "250 kept"


def check(server, session, envelope, mechanism, data):
    ok = mechanism == "PLAIN" and data.login == b"furnace" and data.password == b"right"
    return AuthResult(success=ok, handled=False)


port, cert, key, mode = int(sys.argv[1]), sys.argv[2], sys.argv[3], sys.argv[4]
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(cert, key)
secure = {"starttls": {"tls_context": context, "require_starttls": True}, "tls": {"ssl_context": context}, "plain": {}}[mode]
login = {"authenticator": check, "auth_required": True} if mode != "plain" else {}
if mode == "tls":
    login["auth_require_tls"] = False
Controller(Keep(), hostname="127.0.0.1", port=port, **secure, **login).start()
print("ready", flush=True)
time.sleep(3600)
