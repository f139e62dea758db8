"""What a bench survey meets: nothing but the errors the program allows for, or more."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CONDITIONS", "Condition"]


@dataclass(frozen=True)
class Condition:
    """How surveys are made.

    Parameters
    ----------
    name : str
        Key on the command line.
    summary : str
        One line for the table.
    relief : bool
        Whether ribs, waviness and plates lift the marks and datum points off the panel's plane.
    names_panels : bool
        Whether the person says which panel a mark is on.
    k1 : (float, float)
        Range of the first radial term.
    clicks : (int, int)
        Fewest and most datum points clicked a panel, where as many can be seen.
    click_sigma_px : float
        Error of a click, each axis.
    outline_sigma_px, vertex_sigma_px : float
        Error of a whole outline in or out, and of each of its vertices on top.
    stated_sigma_px : float
        Error of an outline as the survey's settings state it.
    stray_chance : float
        Chance that a photo has one click gone wrong by 30 to 150 px.
    body_sigma_mm : float
        How far each datum point of the real car strays from the template, each axis.
    template_scale : bool
        Whether the car's size strays from the template by its ``scale_sigma``.
    clicked_share : float
        Share of the photos that are clicked on; the others are placed through ties, or not at all.
    tie_sigma_px : float
        Error of a tied point, each axis.
    plain_lens : bool
        Whether lenses bend by ``k1`` alone about the photo's middle, as the program's model has them.
    is_measured : bool
        Whether lengths were taken on the car with a tape.
    """

    name: str
    summary: str
    relief: bool = False
    names_panels: bool = True
    k1: tuple[float, float] = (-0.15, 0.05)
    clicks: tuple[int, int] = (4, 8)
    click_sigma_px: float = 2.0
    outline_sigma_px: float = 3.0
    vertex_sigma_px: float = 1.5
    stated_sigma_px: float = 3.0
    stray_chance: float = 0.0
    body_sigma_mm: float = 0.0
    template_scale: bool = True
    clicked_share: float = 1.0
    tie_sigma_px: float = 0.7
    plain_lens: bool = False
    is_measured: bool = False

    @property
    def is_linked(self) -> bool:
        """Whether photos are tied to one another."""
        return self.clicked_share < 1.0


CORNERS_PX = 0.7
"""What corners that err by 2 px, each for itself, make of a whole outline of about eight: 2 / sqrt(8)."""

CONDITIONS = {
    c.name: c
    for c in (
        Condition("flat", "flat panels, every error as the program's settings state it"),
        Condition("relief", "the same with relief: ribs 7 mm, waviness 2 mm, plates 1.5 mm", relief=True),
        Condition("unnamed", "flat; the person never says which panel a mark is on", names_panels=False),
        Condition(
            "sure-hand", "flat; outlines drawn without error, so clicks, lens and scale alone",
            outline_sigma_px=0.0, vertex_sigma_px=0.0,
        ),
        Condition(
            "clicked",
            "flat; outlines clicked like datum points, corners 2 px off, none moved as a whole; settings say 0.7 px",
            outline_sigma_px=0.0, vertex_sigma_px=2.0, stated_sigma_px=CORNERS_PX,
        ),
        Condition(
            "measured", "clicked, and two or three lengths of the car taken with a tape",
            outline_sigma_px=0.0, vertex_sigma_px=2.0, stated_sigma_px=CORNERS_PX, is_measured=True,
        ),
        Condition(
            "linked", "flat; a third of the photos clicked on, the others linked with neighbours, some of them wrongly",
            clicked_share=1 / 3,
        ),
        Condition(
            "exact", "flat; no error anywhere: clicks, hand, size of the car, lens; what is left is the program's own",
            click_sigma_px=0.0, outline_sigma_px=0.0, vertex_sigma_px=0.0, template_scale=False, plain_lens=True,
        ),
        Condition("mild-lens", "flat; k1 within 0.02, as phones that correct their own pictures", k1=(-0.02, 0.02)),
        Condition("four-clicks", "flat; four datum points a panel and no more", clicks=(4, 4)),
        Condition("eight-clicks", "flat; eight datum points a panel where as many can be seen", clicks=(8, 8)),
        Condition("stray-click", "flat; in half of the photos one click is wrong by 30 to 150 px", stray_chance=0.5),
        Condition("strayed-body", "flat; every datum point of the car 2 mm off the template", body_sigma_mm=2.0),
    )
}  # fmt: skip
