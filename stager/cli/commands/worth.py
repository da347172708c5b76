"""`stager worth`."""

from __future__ import annotations

from stager.cli.command import Config, Dask, Draws, Resume, Tls
from stager.cli.files import check_outputs
from stager.cli.progress import progress
from stager.cli.session import Session
from stager.report.answer import Answer


def worth(
    session: Session, config: Config, draws: Draws = 400, dask: Dask = None, dask_tls: Tls = None,
    resume: Resume = None,
) -> Answer:  # fmt: skip
    """What each further stage adds and costs."""
    loaded = session.load(config)
    check_outputs(session, [], loaded.files, resume)
    from stager.report import worth as report

    session.trusting(dask)
    with progress(session, "Planning", at_once=False) as tell:
        found = loaded.plan(
            seed=session.seed, progress=tell, workers=session.workers, dask=dask, tls=dask_tls, resume=resume,
            draws=draws,
        )  # fmt: skip
    return report.answer(found, loaded.source(session.seed))
