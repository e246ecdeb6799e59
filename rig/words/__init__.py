"""Codes and numbers to text, in the language and unit of the user: the one place."""
