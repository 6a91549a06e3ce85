#!/usr/bin/python3
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
"""Checks the mail that `fillmark try --once DIR` left behind, with nothing of ours: every signature offline by python3-dkim against
DIR/dkim-dns.txt (and that changed copies fail), and every message by Python's email package.

usage: check_mail.py DIR [--owners N]
"""

import argparse
import email
import email.policy
import email.utils
import pathlib
import re
import sys

import dkim

ONCE = ["From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Content-Type", "Auto-Submitted", "DKIM-Signature"]
UNSUBSCRIBE = ["List-Unsubscribe", "List-Unsubscribe-Post"]
SIGNED = {"from", "to", "subject", "date", "message-id", "mime-version", "content-type", "auto-submitted", "list-unsubscribe",
          "list-unsubscribe-post"}
LEFTOVERS = ["{{", "}}", "<no value>", "<nil>", "%!", "ZgotmplZ"]


def read_record(text):
    """The record in zone-file form: `name [ttl] [IN] TXT value`, the value quoted in pieces or plain, or the value alone."""
    lines = [line for line in text.splitlines() if line.strip() and line.lstrip()[0] not in ";#"]
    text = "\n".join(lines)
    pieces = re.findall(r'"([^"]*)"', text)
    value = "".join(pieces) if pieces else re.sub(r"\s+", " ", text[text.index("v=DKIM1"):]).strip(" )")
    if not value.startswith("v=DKIM1"):
        raise ValueError("no v=DKIM1 in the record")
    head = text[: text.index('"' if pieces else "v=DKIM1")].split()
    name = head[0].rstrip(".").lower() if head else None
    if head and ("TXT" not in head or "._domainkey." not in name):
        raise ValueError(f"not a TXT record of a _domainkey name: {head}")
    return name, value


def verify(raw, name, value):
    """Whether the message's signature holds against this record and no other."""
    def dns(asked, timeout=5):
        asked = asked.decode() if isinstance(asked, bytes) else asked
        return value.encode() if name in (None, asked.rstrip(".").lower()) else None
    try:
        return dkim.verify(raw, dnsfunc=dns, minkey=2048)
    except dkim.DKIMException:
        return False


def signature_faults(raw, message):
    tags = dict(t.strip().split("=", 1) for t in re.sub(r"\s+", "", message["DKIM-Signature"]).strip(";").split(";"))
    signed = tags.get("h", "").lower().split(":")
    domain = email.utils.parseaddr(message["From"])[1].rpartition("@")[2].lower()
    if tags.get("a") != "rsa-sha256":
        yield f"signed with {tags.get('a')}, not rsa-sha256"
    if "l" in tags:
        yield "signs only the beginning of the body (l=)"
    if tags.get("d", "").lower() != domain:
        yield f"signed for {tags.get('d')}, sent from {domain}"
    if SIGNED - set(signed):
        yield f"not signed: {sorted(SIGNED - set(signed))}"
    if signed.count("from") < 2:
        yield "a second From could be added (from is not oversigned)"


def changed(raw):
    """Copies that differ a little, each of which must fail."""
    head, blank, body = raw.replace(b"\r\n", b"\n").partition(b"\n\n")
    yield "a line added to the body", head + blank + body + b"one more line\n"
    yield "a letter of the body changed", head + blank + body.replace(b"e", b"o", 1)
    yield "the subject changed", re.sub(rb"(?m)^Subject: ", b"Subject: Re: ", head, count=1) + blank + body
    yield "a second From", b"From: thief@thief.example\n" + head + blank + body


def part_faults(message):
    for part in message.walk():
        for defect in part.defects:
            yield f"{part.get_content_type()}: {defect!r}"
    for kind in ("plain", "html"):
        part = message.get_body(preferencelist=(kind,))
        if part is None:
            yield f"no text/{kind} part"
            continue
        text = part.get_content()
        if len(text.split()) < 20:
            yield f"text/{kind} says next to nothing"
        yield from (f"text/{kind} holds {left!r}" for left in LEFTOVERS if left in text)


def domain_of(message, name):
    return email.utils.parseaddr(str(message[name]))[1].rpartition("@")[2].lower()


def to_itself(message):
    """Whether the workshop writes to itself: the morning list, which nobody unsubscribes from by mail."""
    return domain_of(message, "To") == domain_of(message, "From")


def header_faults(raw, message):
    inner = to_itself(message)
    for name in UNSUBSCRIBE if inner else []:
        if message[name] is not None:
            yield f"a header {name} on mail to the workshop itself"
    for name in ONCE if inner else ONCE + UNSUBSCRIBE:
        if len(message.get_all(name, [])) != 1:
            yield f"{len(message.get_all(name, []))} headers {name}, not one"
            return
    for name in ("From", "To"):
        addresses = message[name].addresses
        if len(addresses) != 1 or not addresses[0].domain.endswith(".example"):
            yield f"{name}: {message[name]}: not one invented address"
    if not message["Subject"].strip() or any(left in message["Subject"] for left in LEFTOVERS):
        yield f"Subject: {message['Subject']!r}"
    if message["Date"].datetime is None or message["Date"].datetime.tzinfo is None:
        yield f"Date: {message['Date']}"
    if not re.fullmatch(r"<[^@<>\s]+@[^@<>\s]+>", message["Message-ID"].strip()):
        yield f"Message-ID: {message['Message-ID']}"
    if message["Auto-Submitted"].strip() != "auto-generated":
        yield f"Auto-Submitted: {message['Auto-Submitted']}"
    if not inner and not re.search(r"<https://[^<>\s/]+\.example/[^<>\s]+>", message["List-Unsubscribe"]):
        yield f"List-Unsubscribe without an https link: {message['List-Unsubscribe']}"
    if not inner and message["List-Unsubscribe-Post"].strip() != "List-Unsubscribe=One-Click":
        yield f"List-Unsubscribe-Post: {message['List-Unsubscribe-Post']}"
    lines = raw.replace(b"\r\n", b"\n").split(b"\n")
    if max(map(len, lines)) > 998:
        yield "a line longer than 998 octets (RFC 5322 section 2.1.1)"
    head = raw.replace(b"\r\n", b"\n").partition(b"\n\n")[0]
    if not head.isascii():
        yield "a header that is not ASCII"
    if any(b"=?" in line and len(line) > 76 for line in head.split(b"\n")):
        yield "a line with an encoded word longer than 76 octets (RFC 2047 section 2)"


def faults(raw, name, value):
    message = email.message_from_bytes(raw, policy=email.policy.default)
    found = list(header_faults(raw, message))
    if found:
        return found
    found += part_faults(message)
    found += signature_faults(raw, message)
    if not verify(raw, name, value):
        return found + ["the DKIM signature does not hold"]
    return found + [f"the signature still holds with {what}" for what, copy in changed(raw) if verify(copy, name, value)]


def main():
    args = argparse.ArgumentParser()
    args.add_argument("dir", type=pathlib.Path)
    args.add_argument("--owners", type=int, default=1, help="at least so many different recipients")
    args = args.parse_args()

    for sub in ("new", "cur", "tmp"):
        if not (args.dir / "mail" / sub).is_dir():
            print(f"{args.dir / 'mail'} is no Maildir: it has no folder {sub}")
            return 1
    name, value = read_record((args.dir / "dkim-dns.txt").read_text())
    mails = sorted(p for sub in ("new", "cur") for p in (args.dir / "mail" / sub).iterdir() if p.is_file())
    bad, owners, ids = 0, set(), {}
    for path in mails:
        raw = path.read_bytes()
        message = email.message_from_bytes(raw, policy=email.policy.default)
        found = faults(raw, name, value)
        first = ids.setdefault(str(message["Message-ID"]), path.name)
        if first != path.name:
            found.append(f"the Message-ID is that of {first}")
        if not to_itself(message):
            owners.add(email.utils.parseaddr(str(message["To"]))[1].lower())
        print("bad " if found else "good", message["To"], "|", message["Subject"])
        for fault in found:
            print("    ", path.name, fault)
        bad += bool(found)
    print(f"{len(mails)} messages to {len(owners)} owners, {bad} bad; signed by {name or 'an unnamed record'}")
    if len(owners) < args.owners:
        print(f"fewer than {args.owners} owners")
    return 1 if bad or len(owners) < args.owners else 0


if __name__ == "__main__":
    sys.exit(main())
