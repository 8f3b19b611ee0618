"""Whether an offcut's readings can be true: what is impossible, and what is only hard to believe.

An impossible reading is a fault and a doubtful one a caution; neither is ever altered. The limits
are wide on purpose: they are there to catch a slipped digit, two swapped columns or a leg measured
from the wrong place, not to judge a bender. Physics gives their shape (an arc cannot use more tube
than there is, a leg cannot be shorter than its setback); their widths are this kit's own choice.
"""

from __future__ import annotations

from math import hypot, radians, sqrt, tan

from bendcal.arc import gain_mm, leg_to_centre_mm, setback_mm
from bendcal.benders import Bender
from bendcal.faults import Caution, Fault
from bendcal.measures import angle_text, mm_text
from bendcal.offcuts import Offcut
from bendcal.oval import odd_diameters
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL
from bendcal.tubes import Tube

__all__ = ["check_offcut"]

SURE = 5.0  # standard uncertainties beyond which a reading is impossible
DOUBTFUL = 2.5  # and beyond which it is doubtful
LEAST_LENGTH_U_MM = 0.5  # a crossing of two legs is not found better than this by eye
ZERO_DEG = 5.0  # how far a dial's zero may be off
SCALE = 0.05  # and how far, relatively, its scale
MOST_SPRINGBACK = 0.5  # of the dial: beyond this it was not springback
USUAL_SPRINGBACK = 0.25
USUAL_LOSS_DEG = 7.0  # below this a false zero can look like any springback
DIE_SLACK = 0.1  # how far a die radius read off a box may be out
MOST_OPENING = 1.6  # finished radius over die radius, at the most
LEAST_DEVELOPED = 0.8  # developed radius over centreline radius, at the least
USUAL_DEVELOPED = 0.98
SET_ASIDE = "Measure it again; if the piece is lost, write the reason into set_aside."


def check_offcut(
    offcut: Offcut,
    *,
    bender: Bender,
    tube: Tube | None,
    angle_u_deg: float = DEFAULT_ANGLE_TOOL.u,
    length_u_mm: float = DEFAULT_LENGTH_TOOL.u,
    file: str = "offcuts.csv",
) -> tuple[list[Fault], list[Caution]]:
    """Hold one offcut's readings against each other and against its bender and tube.

    A piece that was set aside is not judged: it was set aside because something is wrong with it.

    Parameters
    ----------
    offcut : the readings, each a finite number
    bender, tube : those that the offcut names; without its tube, legs to the outside or inside are
        not judged
    angle_u_deg : standard uncertainty of the angle's reading [deg]
    length_u_mm : standard uncertainty of one length's reading [mm]
    file : name of the file for the remarks

    Returns
    -------
    (faults, cautions), each a list that may be empty

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake 3/16", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> piece = Offcut("1", "small", tube.tube, 200, 90, 92, 110, row=2)
    >>> faults, cautions = check_offcut(piece, bender=Bender("small", 15.0), tube=tube)
    >>> print(faults[0].sentence)
    offcuts.csv, row 2, column angle_deg: found 110.0° at a dial of 92.0°. A bend does not finish \
further than its dial went. Look whether the two were swapped or a digit slipped. Measure it again; \
if the piece is lost, write the reason into set_aside.
    """
    if offcut.set_aside:
        return [], []
    check = _Check(offcut, bender, tube, angle_u_deg, max(length_u_mm, LEAST_LENGTH_U_MM), file)
    if check.settings() and check.angle() and check.enough_tube() and check.leg_lengths():
        check.springback()
        check.legs()
        check.diameters()
    return check.faults, check.cautions


class _Check:
    """One offcut under examination; each step notes what it finds."""

    def __init__(self, offcut: Offcut, bender: Bender, tube: Tube | None, angle_u: float, length_u: float, file: str) -> None:
        self.offcut, self.bender, self.tube = offcut, bender, tube
        self.angle_u, self.length_u, self.file = angle_u, length_u, file
        self.faults: list[Fault] = []
        self.cautions: list[Caution] = []

    def fault(self, column: str, found: str, rule: str, remedy: str) -> None:
        remedy = f"{remedy} {SET_ASIDE}".strip()
        self.faults.append(Fault(self.file, self.offcut.row, column, found, rule, remedy))

    def caution(self, column: str, found: str, rule: str, remedy: str) -> None:
        self.cautions.append(Caution(self.file, self.offcut.row, column, found, rule, remedy))

    def settings(self) -> bool:
        """Length, mark and dial, each by itself."""
        o, before = self.offcut, len(self.faults)
        if not o.length_mm > 0:
            self.fault("length_mm", mm_text(o.length_mm), "An offcut is longer than nothing.", "")
        elif not 0 <= o.mark_mm <= o.length_mm:
            found = f"{mm_text(o.mark_mm)} on an offcut of {mm_text(o.length_mm)}"
            self.fault("mark_mm", found, "The mark lies on the offcut, measured from end A.", "")
        most = self.bender.dial_max_deg
        if o.dial_deg < 0:
            self.fault("dial_deg", angle_text(o.dial_deg), "A dial reads 0 or more.", "")
        elif most is not None and o.dial_deg > most:
            rule = f"The dial of {self.bender.bender} ends at {angle_text(most)} (dial_max_deg in benders.csv)."
            self.fault("dial_deg", angle_text(o.dial_deg), rule, "")
        return len(self.faults) == before

    def angle(self) -> bool:
        """The finished angle by itself and against the dial."""
        o = self.offcut
        if not 0 <= o.angle_deg < 180:
            rule = "A finished angle is how far the tube turns from straight: 0° or more, and less than 180°."
            self.fault("angle_deg", angle_text(o.angle_deg), rule, "")
            return False
        found = f"{angle_text(o.angle_deg)} at a dial of {angle_text(o.dial_deg)}"
        slack = ZERO_DEG + SCALE * o.dial_deg + 4 * self.angle_u
        if o.angle_deg > o.dial_deg + slack:
            rule = "A bend does not finish further than its dial went."
            self.fault("angle_deg", found, rule, "Look whether the two were swapped or a digit slipped.")
            return False
        lost = o.dial_deg - o.angle_deg
        if lost > MOST_SPRINGBACK * o.dial_deg + slack:
            rule = "No tube springs back by half of its bend."
            remedy = "A slipped digit or a decimal comma that split a cell looks like this."
            if abs(180 - o.angle_deg - o.dial_deg) < USUAL_SPRINGBACK * o.dial_deg:
                remedy = f"The angle between the legs was perhaps measured; from straight it is {angle_text(180 - o.angle_deg)}."
            self.fault("angle_deg", found, rule, remedy)
            return False
        return True

    def enough_tube(self) -> bool:
        """The arc alone uses no more tube than there is; a length in inches without its unit looks like this."""
        o, die = self.offcut, self.bender.die_radius_mm
        if die is None:
            return True
        arc = LEAST_DEVELOPED * (1 - DIE_SLACK) * die * radians(max(o.angle_deg - 4 * self.angle_u, 0.0))
        if o.length_mm >= arc - SURE * self.length_u:
            return True
        rule = f"A bend of {angle_text(o.angle_deg)} on a die of {mm_text(die)} alone uses about {mm_text(die * radians(o.angle_deg))} of tube."
        remedy = f"If inches are meant, write the unit into every such cell of the row: {o.length_mm:g} in."
        self.fault("length_mm", mm_text(o.length_mm), rule, remedy)
        return False

    def springback(self) -> None:
        """Springback of the wrong sign, or more of it than tubes have."""
        o = self.offcut
        lost = o.dial_deg - o.angle_deg
        found = f"{angle_text(o.angle_deg)} at a dial of {angle_text(o.dial_deg)}"
        if lost < -DOUBTFUL * self.angle_u:
            rule = "Springback is negative: the bend finished further than its dial went."
            self.caution("angle_deg", found, rule, "A dial with a false zero does this; if it is not that, measure again.")
        elif lost > max(USUAL_SPRINGBACK * o.dial_deg, USUAL_LOSS_DEG):
            rule = f"Springback is {100 * lost / o.dial_deg:.0f} % of the dial, more than {100 * USUAL_SPRINGBACK:.0f} %."
            self.caution("angle_deg", found, rule, "Look at both readings again.")

    def leg_lengths(self) -> bool:
        """Each leg by itself: more than nothing, and only where there is a bend."""
        before = len(self.faults)
        for column in ("leg_a_mm", "leg_b_mm"):
            leg = getattr(self.offcut, column)
            if leg is None:
                continue
            if not leg > 0:
                self.fault(column, mm_text(leg), "A leg is longer than nothing.", "")
            elif self.offcut.angle_deg == 0:
                rule = "At an angle of 0° the legs do not cross, so no leg can be measured."
                self.fault(column, mm_text(leg), rule, "Leave the leg blank, or correct the angle.")
        return len(self.faults) == before

    def legs(self) -> None:
        """Legs against setback, length and mark, all taken to the crossing of the centrelines."""
        o = self.offcut
        if o.angle_deg == 0 or (self.tube is None and o.legs_to != "centre"):
            return
        od = self.tube.od_mm if self.tube else 1.0  # of no account for a leg to the centre
        centre = {
            column: float(leg_to_centre_mm(leg, o.angle_deg, od, o.legs_to))
            for column in ("leg_a_mm", "leg_b_mm")
            if (leg := getattr(o, column)) is not None
        }
        before = len(self.faults)
        for column, leg in centre.items():
            self._setback(column, leg)
            self._one_leg(column, leg)
        if len(self.faults) == before and len(centre) == 2:
            self._closing(*centre.values())
        if len(self.faults) == before and "leg_a_mm" in centre:
            self._mark(centre["leg_a_mm"])

    def diameters(self) -> None:
        """The bend's diameters against the tube's, and against each other."""
        for impossible, *told in odd_diameters(self.offcut, self.tube) if self.tube else ():
            (self.fault if impossible else self.caution)("smallest_mm" if told[0] == "smallest" else "largest_mm", *told[1:])

    def _setback(self, column: str, leg: float) -> None:
        """No leg is shorter than the setback of the tightest bend this die could make."""
        if self.bender.die_radius_mm is None:
            return
        angle = max(self.offcut.angle_deg - 4 * self.angle_u, 0.0)
        least = float(setback_mm(angle, (1 - DIE_SLACK) * self.bender.die_radius_mm))
        if leg < least - SURE * self.length_u:
            usual = float(setback_mm(self.offcut.angle_deg, self.bender.die_radius_mm))
            rule = (
                f"A leg runs to the crossing of the legs, so it is at least its setback long: "
                f"{mm_text(usual)} at {angle_text(self.offcut.angle_deg)} on a die of {mm_text(self.bender.die_radius_mm)}."
            )
            self.fault(column, self._leg_text(column, leg), rule, "Look where it was measured to (legs_to).")

    def _one_leg(self, column: str, leg: float) -> None:
        """No leg is longer than the tube, but for what the corner of a sharp bend adds."""
        turn = radians(self.offcut.angle_deg)
        corner = self._largest_radius() * (tan(turn / 2) - LEAST_DEVELOPED * turn)
        if leg > self.offcut.length_mm + max(corner, 0.0) + SURE * sqrt(2) * self.length_u:
            found = f"{self._leg_text(column, leg)} on an offcut of {mm_text(self.offcut.length_mm)}"
            remedy = "Look whether length and legs are of the same piece."
            self.fault(column, found, "One leg alone is longer than the tube allows.", remedy)

    def _closing(self, leg_a: float, leg_b: float) -> None:
        """Both legs and the length: the gain is above nothing and below what the widest arc saves."""
        o = self.offcut
        gain = leg_a + leg_b - o.length_mm
        noise = sqrt(3) * self.length_u
        found = f"legs of {mm_text(leg_a)} and {mm_text(leg_b)} on an offcut of {mm_text(o.length_mm)}"
        if o.legs_to != "centre":
            found += f" (taken from {o.legs_to} to centre)"
        steep = min(o.angle_deg + 4 * self.angle_u, 179.0)
        widest = min(self._largest_radius(), min(leg_a, leg_b) / tan(radians(o.angle_deg) / 2) + SURE * self.length_u)
        most = float(gain_mm(steep, widest, LEAST_DEVELOPED * widest)) if widest > 0 else 0.0
        remedy = "Look whether length and legs are of the same piece, and where the legs were measured to (legs_to)."
        if gain < -SURE * noise:
            rule = f"Together the legs are longer than the tube, by the gain; here they are {mm_text(-gain)} shorter."
            self.fault("leg_a_mm", found, rule, remedy)
        elif gain > most + SURE * noise:
            rule = (
                f"The legs together are {mm_text(gain)} longer than the tube; "
                f"a bend of {angle_text(o.angle_deg)} gains at most {mm_text(most)}."
            )
            self.fault("leg_a_mm", found, rule, remedy)
        elif gain < -DOUBTFUL * noise:
            rule = f"The gain has the wrong sign: together the legs are {mm_text(-gain)} shorter than the tube."
            self.caution("leg_a_mm", found, rule, remedy)
        elif self.bender.die_radius_mm is not None:
            self._gain_of_the_die(gain, noise, found, remedy)

    def _gain_of_the_die(self, gain: float, noise: float, found: str, remedy: str) -> None:
        """A gain that only a very different radius would give is doubtful."""
        angle, die = self.offcut.angle_deg, self.bender.die_radius_mm
        usual = float(gain_mm(angle, die, USUAL_DEVELOPED * die))
        tilt = abs(float(gain_mm(min(angle + self.angle_u, 179.5), die, USUAL_DEVELOPED * die)) - usual)
        if abs(gain - usual) > 0.3 * usual + DOUBTFUL * 1.5 * hypot(noise, tilt):
            rule = f"The gain is {mm_text(gain)}, but a die of {mm_text(die)} gives about {mm_text(usual)} at {angle_text(angle)}."
            self.caution("leg_a_mm", found, rule, remedy)

    def _mark(self, leg_a: float) -> None:
        """The bend starts somewhere near its mark."""
        o, die = self.offcut, self.bender.die_radius_mm
        if die is None or o.angle_deg > 150:  # there the setback itself hangs on every half degree
            return
        offset = leg_a - o.mark_mm - float(setback_mm(o.angle_deg, die))
        if abs(offset) > 3 * die + 20:
            found = f"a leg of {mm_text(leg_a)} with its mark at {mm_text(o.mark_mm)}"
            rule = f"The bend would start {mm_text(abs(offset))} from its mark."
            self.caution("leg_a_mm", found, rule, "Look whether the legs were swapped or the mark was measured from end B.")

    def _largest_radius(self) -> float:
        """The widest arc: what springs back from this die, or what uses up the whole tube."""
        whole = self.offcut.length_mm / (LEAST_DEVELOPED * radians(self.offcut.angle_deg))
        die = self.bender.die_radius_mm
        return whole if die is None else min(whole, MOST_OPENING * die)

    def _leg_text(self, column: str, leg: float) -> str:
        read = getattr(self.offcut, column)
        to = self.offcut.legs_to
        return mm_text(read) if to == "centre" else f"{mm_text(read)} to the {to} ({mm_text(leg)} to the centre)"
