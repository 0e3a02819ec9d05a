"""The files for programs: records, schemas, and how they are filled."""
