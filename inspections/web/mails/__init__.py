"""Mails: what they say and show."""
