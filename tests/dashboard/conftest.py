"""Pages run without a browser, on a copy of the bundled study."""

import html
import importlib
import re
import sys

import pytest
from streamlit.testing.v1 import AppTest

from sameloop.sample import write_sample


def _page(name):
    import importlib

    importlib.import_module(f"sameloop_dashboard.{name}").show()


@pytest.fixture(autouse=True)
def own_main(monkeypatch):
    """Take back `__main__`, which a page run without a browser puts itself in place of.

    Workers that a later test starts would run the page's script instead of the tests'.
    """
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])


@pytest.fixture
def folder(tmp_path):
    return write_sample(tmp_path / "study")


@pytest.fixture(scope="module")
def shared_folder(tmp_path_factory):
    """For tests that change nothing, so that the answer is worked out once."""
    return write_sample(tmp_path_factory.mktemp("shared") / "study")


@pytest.fixture
def open_page():
    importlib.import_module("sameloop_dashboard")

    def opened(name, study=None):
        page = AppTest.from_function(_page, kwargs={"name": name}, default_timeout=120)
        if study is not None:
            page.query_params["study"] = str(study)
        return page.run()

    return opened


@pytest.fixture
def words():
    def of(page):
        """All that a page says, our own HTML included."""
        assert not page.exception
        pieces = [item.proto.body for item in page.get("html")]
        text = re.sub(r'src="data:[^"]*"', "", " ".join(pieces))
        text = re.sub(r'alt="([^"]*)"', r">\1<", text)
        said = [str(item.value) for item in (*page.title, *page.subheader, *page.markdown)]
        return " ".join([*said, " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).split())])

    return of
