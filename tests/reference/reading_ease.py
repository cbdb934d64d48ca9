"""Flesch reading ease of texts, by textstat: one JSON string a line on standard input, one number a line on standard output."""

import json
import sys

import textstat

for line in sys.stdin:
    print(json.dumps(textstat.flesch_reading_ease(json.loads(line))))
