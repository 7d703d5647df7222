"""Random doublers, by number or as hypothesis draws them: one source for the tests and benchmarks/random_doublers.py.

Circuits of one transistor, of one or two diodes, of two transistors (cascade, cascode, push-push), and of a transistor
with a diode at its base, between random matching circuits: coupling and shunt L, C, R, lines, open and shorted stubs,
resonators, all of them ideal and lossless for a share, and tuned exactly to the drive or twice its frequency for a
share. Device parameters lie in the ranges that silicon parts from signal diode to microwave transistor span (orders of
magnitude: common practice, no source), or are those of the library. Self-heating is left out: whether a stage runs
away is not a matter of the balance.
"""

import math
from random import Random

STEPS = 1000  # of every random number, so that the ends of a range come up
LIBRARY = ["npn-5ghz", "npn-25ghz", "npn-60ghz"]
ANGLES = [22.5, 45.0, 60.0, 90.0, 135.0, 180.0, 270.0, 360.0]


class Bench:
    """Tables of one circuit, filled by random choices."""

    def __init__(self, random: Random) -> None:
        self.random, self.part = random, {}
        self.frequency = self.spread(1e7, 1e10)

    def share(self) -> float:
        """Even over 0..1, ends included."""
        return self.random.randint(0, STEPS) / STEPS

    def chance(self, share: float) -> bool:
        """True for about this share of the draws."""
        return self.share() < share

    def even(self, low: float, high: float) -> float:
        """Even over a range."""
        return low + (high - low) * self.share()

    def spread(self, low: float, high: float) -> float:
        """Even over the logarithm of a range."""
        return low * (high / low) ** self.share()

    def either(self, absent: float, low: float, high: float, share: float = 0.2) -> float:
        """`absent` for a share, else spread."""
        return absent if self.chance(share) else self.spread(low, high)

    def one_of(self, *choices):
        """One of these."""
        return self.random.choice(choices)

    def add(self, kind: str, *nodes: str, **values: str) -> None:
        """A part with a name of its own."""
        self.part[f"{kind.split()[0]}{len(self.part)}"] = {"kind": kind, "nodes": list(nodes)} | values

    def node(self) -> str:
        """A new node."""
        return f"n{len(self.part)}"

    # -- linear parts ------------------------------------------------------------------------------------------

    def impedance_near(self, low: float, high: float) -> tuple[float, float]:
        """Capacitance and inductance whose reactance at the drive is some value; the two resonate there."""
        reactance, omega = self.spread(low, high), 2 * math.pi * self.frequency
        return 1 / (omega * reactance), reactance / omega

    def resistor(self, a: str, b: str, low: float, high: float) -> None:
        """Spread over a range."""
        self.add("resistor", a, b, resistance=f"{self.spread(low, high):.6g} ohm")

    def capacitor(self, a: str, b: str, low: float = 0.3, high: float = 1e3) -> None:
        """By its reactance at the drive; ideal or with loss and leads."""
        values = {"capacitance": f"{self.impedance_near(low, high)[0]!r} F"}
        if self.chance(0.3):
            values |= {"series_resistance": f"{self.spread(0.01, 1):.6g} ohm",
                       "series_inductance": f"{self.spread(1e-11, 2e-9):.6g} H"}
        self.add("capacitor", a, b, **values)

    def inductor(self, a: str, b: str, low: float = 3, high: float = 3e3) -> None:
        """By its reactance at the drive; ideal, or with loss, or with its own resonance."""
        values = {"inductance": f"{self.impedance_near(low, high)[1]!r} H"}
        if self.chance(0.6):
            values |= {"series_resistance": f"{self.spread(1e-3, 10):.6g} ohm"}
        if self.chance(0.2):
            values |= {"self_capacitance": f"{self.spread(1e-14, 1e-12):.6g} F"}
        self.add("inductor", a, b, **values)

    def wave(self) -> dict[str, str]:
        """Impedance and length of a line; exact fractions of the wavelength, and no loss, for a share."""
        values = {"impedance": f"{self.spread(15, 150):.6g} ohm", "at": f"{self.frequency!r} Hz"}
        angle = self.one_of(*ANGLES) if self.chance(0.4) else self.even(1, 200)
        values["electrical_length"] = f"{angle:.6g} deg"
        if self.chance(0.4):
            values |= {"loss": f"{self.spread(0.01, 2):.6g} dB", "loss_tangent": f"{self.spread(1e-4, 0.03):.6g}"}
        return values

    def line(self, a: str, b: str) -> None:
        """From a to b."""
        self.add("line", a, b, **self.wave())

    def resonator_to_ground(self, node: str) -> None:
        """L and C in series, an exact short at the drive or at twice its frequency; ideal for a share."""
        c, l = self.impedance_near(5, 300)
        inner, multiple = self.node(), self.one_of(1, 2, 3)
        self.add("capacitor", node, inner, capacitance=f"{c!r} F")
        self.add("inductor", inner, "ground", inductance=f"{l / multiple**2!r} H",
                 series_resistance=f"{self.either(0.0, 0.01, 3, 0.5):.6g} ohm")

    def trap(self, a: str, b: str) -> None:
        """L and C side by side, an exact open at the drive or a multiple; carries DC."""
        c, l = self.impedance_near(5, 300)
        self.add("capacitor", a, b, capacitance=f"{c / self.one_of(1, 2, 3)**2!r} F")
        self.add("inductor", a, b, inductance=f"{l!r} H", series_resistance=f"{self.either(0.0, 0.01, 3, 0.5):.6g} ohm")

    def shunt(self, node: str, blocks_dc: bool) -> None:
        """Something to ground; with `blocks_dc`, something that carries no DC."""
        leads_dc = [] if blocks_dc else ["inductor", "shorted stub", "resistor"]
        kind = self.one_of("capacitor", "open stub", "resonator", *leads_dc)
        if kind == "capacitor":
            self.capacitor(node, "ground", 3, 1e3)
        elif kind == "inductor":
            self.inductor(node, "ground")
        elif kind == "resistor":
            self.resistor(node, "ground", 10, 1e4)
        elif kind == "resonator":
            self.resonator_to_ground(node)
        else:
            self.add(kind, node, **self.wave())

    def ladder(self, port: str, device: str) -> None:
        """A matching circuit from a port to a device; DC is blocked for most."""
        node = port
        for _ in range(self.one_of(0, 1, 1, 2)):
            if self.chance(0.5):
                self.shunt(node, blocks_dc=self.chance(0.6))
            after = self.node()
            kind = self.one_of("line", "line", "inductor", "capacitor", "resistor", "trap", "filter section")
            if kind == "line":
                self.line(node, after)
            elif kind == "inductor":
                self.inductor(node, after, 1, 300)
            elif kind == "capacitor":
                self.capacitor(node, after, 1, 300)
            elif kind == "resistor":
                self.resistor(node, after, 0.1, 300)
            elif kind == "trap":
                self.trap(node, after)
            else:
                odd = self.spread(15, 60)
                self.add("filter section", node, after, even_impedance=f"{odd * self.spread(1.1, 4):.6g} ohm",
                         odd_impedance=f"{odd:.6g} ohm", electrical_length=f"{self.even(20, 160):.6g} deg",
                         at=f"{self.frequency!r} Hz")
            node = after
        if self.chance(0.85):
            self.capacitor(node, device)
        else:
            self.resistor(node, device, 0.1, 100)
        if self.chance(0.5):
            self.shunt(device, blocks_dc=True)

    def feed(self, supply: str, node: str) -> None:
        """DC from a supply: through a choke, a resistor, a quarter-wave line or a trap."""
        kind = self.one_of("choke", "choke", "resistor", "line", "trap", "choke and resistor")
        if kind in ("choke", "choke and resistor"):
            inner = self.node() if kind != "choke" else supply
            if inner != supply:
                self.resistor(supply, inner, 1, 1e3)
            self.inductor(inner, node, 10, 1e4)
        elif kind == "resistor":
            self.resistor(supply, node, 10, 2e3)
        elif kind == "line":
            inner = self.node()
            self.inductor(supply, inner, 30, 1e4)
            self.capacitor(inner, "ground", 0.3, 30)
            self.line(inner, node)
        else:
            self.trap(supply, node)

    # -- devices -----------------------------------------------------------------------------------------------

    def temperature(self) -> str:
        """-55 to 150 degC, most at the middle."""
        return f"{self.one_of(27.0, 27.0, self.even(-55, 150)):.6g} degC"

    def diode(self, anode: str, cathode: str) -> None:
        """Signal, Schottky, varactor or step-recovery diode."""
        has_current = self.chance(0.9)
        values = {
            "IS": f"{self.spread(1e-18, 1e-6) if has_current else 0.0:.6g} A", "N": f"{self.even(1, 1.6):.6g}",
            "RS": f"{self.either(0.0, 0.1, 50):.6g} ohm", "TT": f"{self.either(0.0, 1e-12, 1e-7, 0.4):.6g} s",
            "CJO": f"{self.either(0.0, 1e-14, 5e-11):.6g} F", "VJ": f"{self.even(0.3, 1.2):.6g} V",
            "M": f"{self.even(0.2, 0.9):.6g}", "FC": f"{self.even(0.2, 0.95):.6g}", "temperature": self.temperature(),
            "series_inductance": f"{self.either(0.0, 1e-10, 3e-9, 0.6):.6g} H",
            "case_capacitance": f"{self.either(0.0, 1e-14, 3e-13, 0.6):.6g} F"}
        name = f"D{len(self.part)}"
        self.part[name] = {"kind": "diode", "nodes": {"anode": anode, "cathode": cathode}} | values

    def transistor(self, base: str, collector: str, emitter: str, polarity: str) -> None:
        """Of the library for a share, else with parameters of its own."""
        nodes = {"base": base, "collector": collector, "emitter": emitter}
        name = f"Q{len(self.part)}"
        self.part[name] = {"kind": "bjt", "nodes": nodes, "polarity": polarity, "temperature": self.temperature()}
        if self.chance(0.2):
            self.part[name] |= {"use": self.one_of(*LIBRARY)}
            return
        IS, RB = self.spread(1e-19, 1e-13), self.either(0.0, 0.5, 200)
        per_area = self.spread(0.003, 3)  # of the emitter; what carries current and charge grows with it
        values = {
            "IS": (IS, "A"), "BF": (self.spread(20, 500), ""), "BR": (self.spread(0.1, 40), ""),
            "NF": (self.one_of(1.0, 1.0, self.even(0.95, 1.3)), ""), "NR": (self.one_of(1.0, self.even(0.95, 1.3)), ""),
            "VAF": (self.either(math.inf, 5, 200), "V"), "VAR": (self.either(math.inf, 1, 30), "V"),
            "IKF": (self.either(math.inf, 0.1, 3) * per_area, "A"),
            "IKR": (self.either(math.inf, 0.01, 1) * per_area, "A"),
            "ISE": (IS * self.either(0.0, 1, 1e4), "A"), "NE": (self.even(1.2, 2.5), ""),
            "ISC": (IS * self.either(0.0, 1, 1e4), "A"), "NC": (self.even(1.2, 2.5), ""), "RB": (RB, "ohm"),
            "RE": (self.either(0.0, 0.05, 5), "ohm"), "RC": (self.either(0.0, 0.1, 30), "ohm"),
            "CJE": (self.either(0.0, 0.3e-12, 10e-12) * per_area, "F"), "VJE": (self.even(0.6, 1.1), "V"),
            "MJE": (self.even(0.2, 0.5), ""),
            "CJC": (self.either(0.0, 0.1e-12, 5e-12) * per_area, "F"), "VJC": (self.even(0.4, 0.9), "V"),
            "MJC": (self.even(0.2, 0.5), ""), "XCJC": (self.one_of(1.0, self.even(0, 1)), ""),
            "CJS": (self.either(0.0, 1e-14, 1e-12, 0.7), "F"), "MJS": (self.even(0, 0.5), ""),
            "FC": (self.even(0.3, 0.95), ""), "TF": (self.either(0.0, 1e-12, 5e-10), "s"),
            "XTF": (self.either(0.0, 0.5, 50), ""), "VTF": (self.either(math.inf, 0.5, 20), "V"),
            "ITF": (self.either(0.0, 0.03, 3) * per_area, "A"), "PTF": (self.one_of(0.0, self.even(0, 60)), "deg"),
            "TR": (self.either(0.0, 1e-11, 1e-7), "s"), "XTB": (self.even(0, 2), ""),
            **{f"{pin}_inductance": (self.either(0.0, 1e-10, 2e-9, 0.5), "H")
               for pin in ("base", "emitter", "collector")},
            **{f"{pins}_capacitance": (self.either(0.0, 1e-14, 2e-13, 0.7), "F")
               for pins in ("base_emitter", "base_collector", "collector_emitter")}}
        if RB and self.chance(0.6):
            values |= {"RBM": (RB * self.even(0.05, 1), "ohm"),
                       "IRB": (self.either(math.inf, 1e-4, 1e-2) * per_area, "A")}
        self.part[name] |= {key: "infinite" if value == math.inf else f"{value:.6g} {unit}".strip()
                            for key, (value, unit) in values.items()}

    def stage(self, base: str, collector: str, polarity: str) -> None:
        """A transistor with its bias: from supply, collector, or none but a path to ground; degenerated for a share."""
        emitter = "ground"
        if self.chance(0.5):
            emitter = self.node()
            self.resistor(emitter, "ground", 0.1, 300)
            if self.chance(0.4):
                self.capacitor(emitter, "ground", 0.3, 100)
        bias = self.one_of("supply", "supply", "collector", "none")
        if bias != "none":
            self.resistor("vcc" if bias == "supply" else collector, base, 300, 1e6)
        if bias == "none" and self.chance(0.5):
            self.inductor(base, "ground", 10, 1e3)
        elif bias == "none" or self.chance(0.4):
            self.resistor(base, "ground", 30, 1e5)
        self.transistor(base, collector, emitter, polarity)


def one_transistor(bench: Bench, polarity: str) -> None:
    """Common emitter; a diode at its base for a share."""
    bench.ladder("in", "b")
    bench.stage("b", "c", polarity)
    if bench.chance(0.15):
        bench.diode(*bench.one_of(("b", "ground"), ("ground", "b"), ("b", "c"), ("c", "b")))
    bench.feed("vcc", "c")
    bench.ladder("out", "c")


def two_transistors(bench: Bench, polarity: str) -> None:
    """Cascade, cascode, or push-push: two bases in opposite phase, one collector node."""
    kind = bench.one_of("cascade", "cascode", "push-push")
    if kind == "push-push":
        bench.ladder("in", "n")
        for base, angle in (("b", 0.0), ("d", 180.0)):
            inner = f"x{base}"
            angle += bench.one_of(0.0, bench.even(1, 90)) or 1.0
            bench.add("line", "n", inner, impedance=f"{bench.spread(30, 120):.6g} ohm",
                      electrical_length=f"{angle:.6g} deg", at=f"{bench.frequency!r} Hz")
            bench.capacitor(inner, base, 0.3, 30)
            bench.stage(base, "c", polarity)
        bench.shunt("n", blocks_dc=False)
    elif kind == "cascade":
        bench.ladder("in", "b")
        bench.stage("b", "m", polarity)
        bench.feed("vcc", "m")
        bench.capacitor("m", "d", 0.3, 300)
        bench.stage("d", "c", polarity)
    else:
        bench.ladder("in", "b")
        bench.stage("b", "m", polarity)
        bench.resistor("vcc", "d", 300, 1e4)
        bench.resistor("d", "ground", 300, 1e4)
        bench.capacitor("d", "ground", 0.3, 30)
        bench.transistor("d", "c", "m", polarity)
    bench.feed("vcc", "c")
    bench.ladder("out", "c")


def diodes(bench: Bench) -> None:
    """One or two diodes in series or in shunt, with their DC path; biased for a share."""
    bench.ladder("in", "a")
    kind = bench.one_of("series", "shunt", "shunt pair", "series and shunt")
    out = "a" if kind in ("shunt", "shunt pair") else "k"
    ways = [("a", "k"), ("k", "a")]
    if out == "k":
        bench.diode(*bench.one_of(*ways))
    if kind != "series":
        bench.diode(*bench.one_of((out, "ground"), ("ground", out)))
    if kind == "shunt pair":
        bench.diode(*bench.one_of((out, "ground"), ("ground", out)))
    for node in dict.fromkeys(("a", out)):
        if bench.chance(0.4):
            bench.inductor(node, "ground", 30, 1e4)
        else:
            bench.resistor(node, "ground", 30, 1e5)
    bench.resistor("vcc", out, 100, 1e5)
    bench.ladder("out", out)


def random_doubler(random: Random) -> dict:
    """Tables for `hbsim.Circuit.build`: supply 0 to 15 V, drive -60 to +30 dBm."""
    bench = Bench(random)
    volts, power = bench.even(0, 15), bench.even(-60, 30)
    kind = bench.one_of(*["transistor"] * 3, "two transistors", "diodes")
    polarity = bench.one_of("npn", "npn", "pnp")
    if kind == "diodes":
        diodes(bench)
        volts = bench.one_of(1, -1) * volts
    else:
        (one_transistor if kind == "transistor" else two_transistors)(bench, polarity)
        right_way = bench.chance(0.97)
        volts = volts if (polarity == "npn") == right_way else -volts
    if bench.chance(0.3):
        bench.capacitor("vcc", "ground", 0.1, 30)
    return {
        "title": f"random doubler, {kind}",
        "drive": {"port": "input", "frequency": f"{bench.frequency!r} Hz", "power": f"{power:.6g} dBm"},
        "port": {"input": {"node": "in", "impedance": f"{bench.one_of(50.0, 50.0, bench.spread(2, 2e3)):.6g} ohm"},
                 "output": {"node": "out", "impedance": f"{bench.one_of(50.0, 50.0, bench.spread(2, 2e3)):.6g} ohm"}},
        "supply": {"VCC": {"node": "vcc", "voltage": f"{volts:.6g} V",
                           "resistance": f"{bench.either(0.0, 1e-3, 30, 0.3):.6g} ohm"}},
        "part": bench.part}
