"""How far each install has counted, kept beside it: counting its whole log with every batch grew with the season."""

from . import script, steps


@steps()
def m0017_sequences(db):
    script(db, """
ALTER TABLE install ADD COLUMN seq_high INTEGER;
ALTER TABLE install ADD COLUMN seq_count INTEGER NOT NULL DEFAULT 0;
UPDATE install SET seq_high = (SELECT max(r.seq) FROM record r WHERE r.install = install.id), seq_count = (SELECT count(DISTINCT r.seq) FROM record r WHERE r.install = install.id);
""")
