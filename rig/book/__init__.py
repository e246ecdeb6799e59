"""The job book: jobs as chains of entries, what is read off them, and where they are kept.

Pure, a record in and answers out:

events      one entry of a job's chain: sealed by a hash over itself and the entry before
record      the entries of a job taken together: what the job holds now
reading     the reading of a pull as an entry keeps it
steps       the list of a rebuild's steps (`steps.toml`, which a shop can replace)
judging     series of a job and their verdicts
fitted      what of a pack sheet is compared: plates, springs, stack, shims
gates       what a step that cannot be undone still needs
index       the rows of the tables that are made from a chain
documents   a job as it is shown, and as JSON
page        the same as text

With files and the database:

place       where a book is, and where the files lie that it points to
schema, versions, migrations    the tables, their version, the way from one version to the next
book        opening, appending, looking: the one place that talks to the database
entries     files and texts as entries
opening     a new job
marking     a step past its gate, a strike, the close
verify      whether chains, tables and files still agree
transfer    backup, restore, move, rebuild from recordings
export      a job as a folder for other programs, and back
series_files    the recordings of a series, for a comparison
knowledge   what the book knows beyond one job: scatter, friction by oil, what shims did, zero, directions
trend       control charts of it
look        a job as it is shown, judged with that
keeper, waiting    pulls of a bench entered as they land; what waits while the book is away

SQLAlchemy is imported by `schema`, `book` and what builds on them: never on the way to the first painted frame.
"""
