"""Runs files of SQL with DuckDB in a folder and prints what they answer: python ask.py FOLDER FILE.sql ..."""
import os
import sys
from pathlib import Path

import duckdb

folder, *files = sys.argv[1:]
questions = [Path(file).read_text(encoding="utf-8") for file in files]
os.chdir(folder)
with duckdb.connect() as database:
    for question in questions:
        for statement in duckdb.extract_statements(question):
            answer = database.execute(statement)
            if statement.type == duckdb.StatementType.SELECT:
                print("\t".join(column[0] for column in answer.description))
                for row in answer.fetchall():
                    print("\t".join("" if value is None else str(value) for value in row))
