"""One file per topic, one pure function per equation. No reading or writing, no engineering defaults."""
