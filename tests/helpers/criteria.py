"""Facts for the repair criteria: a pipe with nothing wrong, what may be wrong with it, and facts at random."""

from wrapcalc.standards import criteria as c

#: Nothing is wrong with this pipe; each case below adds what its paragraph is about.
SOUND = {name: {"yes-no": "no", "number": 0.0, "word": None}[fact.kind] for name, fact in c.FACTS.items()} | {
    "class_location": "2", "seam_type": "seamless", "joint_factor": 1.0, "dent_position": "top", "failure_ratio": 3.0,
    "operating_ratio": 1.5, "seam_failure_ratio": 3.0, "crack_failure_ratio": 3.0, "internal_corrosion": "none",
    "transmission_line": "yes",
}
A_BIT = 1e-6
DENT = {"dent": "yes"}
TOP, BOTTOM = DENT | {"dent_position": "top"}, DENT | {"dent_position": "bottom"}
SEAM = {"seam_corrosion_preferential": "yes", "metal_loss": "yes"}
PASSED = {"dent_strain_passed": "yes"}
LOSS, CRACK, SMALL = {"metal_loss": "yes"}, {"crack": "yes"}, {"small_pipe": "yes"}

#: Numbers on, just below and just above every limit, and far from all.
NEAR = sorted({0.0, 3.0, 0.3, 99.0} | {x + s for x in (0.02, 0.03, 0.06, 0.125, 0.5, 0.8, 1.0, 1.1, 1.25, 1.39, 1.5,
                                                       6.35, 12.7) for s in (-A_BIT, 0, A_BIT)})


def draw(pick, open_share=0.0):
    """Facts at random; of a share of them nothing is stated."""
    return {name: None if pick.random() < open_share else pick.choice(fact.words or NEAR)
            for name, fact in c.FACTS.items()}


def finding(rule, paragraph, facts):
    found, = (f for f in c.evaluate(c.load(rule), facts) if f.criterion.paragraph == paragraph)
    return found


def firing(rule, facts):
    return {f.criterion.paragraph for f in c.evaluate(c.load(rule), facts) if f.verdict == c.FIRES}
