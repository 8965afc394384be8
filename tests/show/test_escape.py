import html

from hypothesis import given
from hypothesis import strategies as st

from planning_kit.inputs.shown_text import one_line, plotly_paragraph, plotly_text, shortened


@given(st.text())
def test_nothing_that_plotly_reads_is_left(text):
    shown = plotly_text(text)
    assert not set(shown) & set("<>$\n\r\t")
    assert html.unescape(shown) == html.unescape(html.escape(one_line(text), quote=False))


@given(st.text(), st.integers(min_value=2, max_value=30))
def test_cutting_comes_before_escaping_so_that_no_reference_is_cut(text, longest):
    assert len(html.unescape(plotly_text(text.replace("&", "<"), longest))) <= longest


@given(st.text(min_size=1))
def test_a_paragraph_breaks_only_where_we_break_it(text):
    lines = plotly_paragraph(text, width=20).split("<br>")
    assert all(not set(line) & set("<>$") for line in lines)
    assert all(len(html.unescape(line)) <= 20 for line in lines if "&" not in one_line(text))


def test_typed_references_are_shown_as_typed():
    assert plotly_text("&lt;b&gt;") == "&amp;lt;b&amp;gt;"


def test_marks_that_turn_the_writing_around_are_dropped():
    assert one_line("abc\u202edcba\u2066x\ty\nz") == "abcdcbax y z"


def test_other_scripts_stay_whole():
    assert one_line("Ремонт 修理 ‌") == "Ремонт 修理 ‌"


def test_shortened_text_says_that_it_is():
    assert shortened("abcdef", 4) == "abc…"
    assert shortened("abcd", 4) == "abcd"
