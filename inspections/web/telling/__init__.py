"""Pages about who is told of what: the links of mails, the log, and everybody's settings."""
