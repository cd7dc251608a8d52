"""The working: generated from the computation, in three forms."""

import re
from xml.etree import ElementTree

import pytest

from huehold.stoichiometry.assay import Settings, assay
from huehold.stoichiometry.steps import Chain, Factor, Symbol, Term
from huehold.stoichiometry.working import work_out
from huehold.stoichiometry.working_lines import pretty


@pytest.fixture(scope="module")
def found():
    return assay(
        "magnesium-hydroxide-by-vinegar",
        sample_mass="5.22 g", titrant_mass="16.56 g", bracket_mass="0.05 g", strength="5.0 %",
        density="1.0444", claim="1200 mg/15 mL", tare_drift="-0.01 g",
        settings=Settings(trials=False),
    )  # fmt: skip


def test_numbers_of_the_chain_multiply_to_the_result(found):
    """Read the printed chain back and multiply it: the working is the computation."""
    lines = found.working.text.splitlines()
    body = lines[lines.index("Content:") + 1]
    product = 1.0
    for factor in body.split(" × "):
        above, _, below = factor.strip("( )").partition(" / ")
        product *= _first_number(above) / (_first_number(below) if below else 1.0)
    assert product == pytest.approx(found.results["content"].value, rel=1e-6)


def test_units_that_cancel_are_bracketed_and_the_rest_are_not(found):
    text = found.working.text
    body = text.splitlines()[text.splitlines().index("Content:") + 1]
    bracketed = re.findall(r"\[([^\]]+)\]", body)
    assert sorted(bracketed) == sorted([u for u in set(bracketed) for _ in range(2)])
    left = re.sub(r"\[[^\]]+\]", "", body)
    assert "mg Mg(OH)2" in left
    assert "mL suspension" in left
    assert "vinegar" not in left


def test_rounded_once_at_the_end(found):
    text = found.working.text
    assert text.rstrip().endswith(
        f"Rounded once: {found.main.text}, {found.results['percent_of_label'].text} of the label "
        "claim"
    )
    assert f"= {found.results['content'].value:.7g} mg Mg(OH)2 / mL suspension" in text


def test_negative_terms_are_bracketed(found):
    assert "− (−0.01) g (tare drift)" in found.working.text


def test_only_reactions_that_are_used(found):
    assert found.working.reactions == ("Mg(OH)2 + 2 CH3COOH -> Mg(CH3COO)2 + 2 H2O",)


def test_markdown_strikes_units_out(found):
    markdown = found.working.markdown
    assert "~~g vinegar~~" in markdown
    assert "Mg(OH)₂ + 2 CH₃COOH → Mg(CH₃COO)₂ + 2 H₂O" in markdown
    assert f"**Rounded once: {found.main.text}" in markdown


def test_html_is_well_formed_mathml(found):
    root = ElementTree.fromstring(found.working.html)
    assert len(root.findall(".//li")) == len(found.working.lines)
    factors = sum(len(line.fractions) for line in found.working.lines)
    assert len(root.findall(".//math")) == factors > 10
    struck = [e.text for e in root.findall(".//mtext[@class='cancelled']")]
    assert struck.count("g vinegar") >= 2
    assert root.findall(".//mfrac")
    assert "http" not in found.working.html


def test_html_is_escaped():
    chain = Chain(
        Symbol("a", "<b>a</b>", "g", "x & y"), (Factor(Term("m", "g", "x & y")),), "<script>"
    )
    html = work_out((chain,), {"m": 1.0, "a": 1.0}, ("A -> <B>",), "1 < 2").html
    assert "<script>" not in html
    assert "&lt;b&gt;a" in html
    ElementTree.fromstring(html)


def _first_number(text):
    return float(re.search(r"−?\d+(?:\.\d+)?(?:e[-+]?\d+)?", text).group().replace("−", "-"))


def test_charges_are_raised_and_counts_lowered():
    assert pretty("I2 + 2 S2O3^2- -> 2 I^-") == "I₂ + 2 S₂O₃²⁻ → 2 I⁻"
    assert pretty("5 g CH3COOH / 100 mL") == "5 g CH₃COOH / 100 mL"
