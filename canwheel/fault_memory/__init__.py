"""The brake control unit's stored codes: read, keep, clear. The only part that sends.

Transport by ISO 15765-2 (can-isotp), services by ISO 14229-1 (udsoncan). What may leave is decided
in one place, `gate`: requests to read stored codes, to clear them, and the flow control frames
that a long answer needs. Nothing else: no session, no reset, no writing, no routine.
"""
