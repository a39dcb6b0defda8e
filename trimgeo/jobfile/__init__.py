"""Job files: TOML to `trimgeo.model.job.Job`, and what the job says in millimetres.

`load` and `load_variants` read, `need`, `need_case` and `need_to_cut` ask for a table;
`trimgeo.jobfile.entries` turns entries into pieces of a `trimgeo.model.board.Board`; `starter` and `writing`
make and change job files.
"""

from trimgeo.jobfile.needs import need, need_case, need_to_cut
from trimgeo.jobfile.reading import load, load_variants

__all__ = ["load", "load_variants", "need", "need_case", "need_to_cut"]
