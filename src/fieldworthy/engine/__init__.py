"""Cases in, findings out: samples, nudges, outcomes, verdicts, the report; knows no subsystem by name."""
