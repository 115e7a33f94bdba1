"""What was seen, and what follows from it."""

from inspections.models.field import (
    CalibrationCheck,
    Instrument,
    Load,
    LogSeries,
    LogValue,
    Photo,
    Reading,
    Upload,
    Visit,
)
from inspections.models.findings import LIVE_FLAG_STATES, Action, Assessment, Flag, Plan, Policy, Replay
from inspections.models.telling import Mail, MailSettings, Reminder, TellingRules, Webhook, WebhookCall
from inspections.models.trials import Allocation, LentSheet, SharedCoatSheet, SharedSheet, Trial

__all__ = [
    "LIVE_FLAG_STATES",
    "Action",
    "Allocation",
    "Assessment",
    "CalibrationCheck",
    "Flag",
    "Instrument",
    "LentSheet",
    "Load",
    "LogSeries",
    "LogValue",
    "Mail",
    "MailSettings",
    "Photo",
    "Plan",
    "Policy",
    "Reading",
    "Reminder",
    "Replay",
    "SharedCoatSheet",
    "SharedSheet",
    "TellingRules",
    "Trial",
    "Upload",
    "Visit",
    "Webhook",
    "WebhookCall",
]
