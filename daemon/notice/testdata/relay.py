"""A relay for e-mail of aiosmtpd on a free port of loopback, which tells on its output what it took, as JSON.
Usage: relay.py starttls|tls|none CERTIFICATE KEY. A user kiln has the password "a word"; mail to refused@ is refused."""
import asyncio
import email
import email.policy
import json
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult

if len(sys.argv) < 4:
    sys.exit(0)
how, certificate, key = sys.argv[1:4]
context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
context.load_cert_chain(certificate, key)


def tell(**what):
    print(json.dumps(what), flush=True)


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("refused@"):
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        m = email.message_from_bytes(envelope.content, policy=email.policy.default)
        tell(sender=envelope.mail_from, to=envelope.rcpt_tos, subject=m["subject"], text=m.get_content(), id=m["message-id"].strip(),
             auto=m["auto-submitted"], event=m["x-lidwright-event"], date=m["date"].datetime.isoformat(),
             tls=session.ssl is not None or how == "tls", user=(session.auth_data.login.decode() if session.authenticated else ""))
        return "250 OK"


def known(server, session, envelope, mechanism, auth_data):
    return AuthResult(handled=False, success=auth_data.login == b"kiln" and auth_data.password == b"a word", auth_data=auth_data)


def session():
    return SMTP(Handler(), hostname="relay", authenticator=known, auth_require_tls=how == "starttls",
                tls_context=context if how == "starttls" else None, require_starttls=how == "starttls", loop=loop)


loop = asyncio.new_event_loop()
server = loop.run_until_complete(loop.create_server(session, "127.0.0.1", 0, ssl=context if how == "tls" else None))
tell(port=server.sockets[0].getsockname()[1])
loop.add_reader(sys.stdin, loop.stop)  # which is closed at the end
loop.run_forever()
