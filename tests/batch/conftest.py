import pytest

from sameloop.simulate.export import write_study
from sameloop.simulate.study import default_study, simulate_studies


@pytest.fixture(scope="session")
def squad(tmp_path_factory):
    """Two studies, at different depths, and a broken one."""
    folder = tmp_path_factory.mktemp("squad")
    specs = [default_study("flat", laps=2, seed=seed) for seed in (1, 2)]
    for name, simulated in zip(("one", "deeper/two"), simulate_studies(specs), strict=True):
        write_study(simulated, folder / name)
    (folder / "broken").mkdir()
    (folder / "broken" / "study.toml").write_text("[study\n", encoding="utf-8")
    return folder
