"""The job book: jobs as chains of events, what is read off them, and where they are kept.

events      one entry of a job's chain: sealed by a hash over itself and the entry before
record      the entries of a job taken together: what the job holds now
gates       what a step that cannot be undone still needs
steps       the list of a rebuild's steps (`steps.toml`, which a shop can replace)
entries     files and texts as bodies of entries
schema      the tables; all but `events` are indexes made from it
book        the book: opening, migrating, appending, looking
verify      whether chain, indexes and files still agree
documents   the book's answers as JSON

SQLAlchemy is imported by `schema`, `book` and what builds on them: never on the way to the first painted frame.
"""
