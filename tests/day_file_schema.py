"""Write the schema of a day's file from the code that reads it: `python3 -m server dev tests.day_file_schema`."""

import json

from server.services.day_files import SCHEMA_FILE, schema

if __name__ == "__main__":
    SCHEMA_FILE.write_text(json.dumps(schema(), indent=1) + "\n", "utf-8")
