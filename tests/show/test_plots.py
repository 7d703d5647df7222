"""Pictures: what is drawn is what the state or the table says; nothing lies on anything else or leaves the page."""

import itertools
import xml.etree.ElementTree
from dataclasses import replace

import many_devices
import numpy as np
import pytest

import hbsim
from hbsim.balance.accuracy import Accuracy
from hbsim.errors import Refusal
from hbsim.quantities import show
from hbsim.show.device_plot import device_figure
from hbsim.show.plots import prediction_figure, sweep_figure
from hbsim.show.style import check_format, label_lines, new_figure, save, scaled
from hbsim.studies.compression import compression
from hbsim.studies.device_curves import curves
from hbsim.studies.prediction import predict


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def prediction(circuit):
    return predict(circuit, harmonics=8)


@pytest.fixture(scope="module")
def balanced():
    """Predictions of circuits with several devices, by name."""
    return {"bridge": predict(many_devices.diode_ring(1), harmonics=8),
            "long arms": predict(many_devices.diode_ring(2), harmonics=8),
            "chain": predict(many_devices.chain(2), harmonics=8),
            "long chain": predict(many_devices.chain(6), harmonics=8)}


def drawn_texts(figure):
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    FigureCanvasAgg(figure).draw()
    renderer = figure.canvas.get_renderer()
    found = []
    for axes in figure.axes:
        texts = [axes.title, axes._left_title, axes.xaxis.label, axes.yaxis.label, *axes.texts]
        texts += axes.get_legend().get_texts() if axes.get_legend() else []
        texts += [label for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim()))
                  for at, label in zip(axis.get_ticklocs(), axis.get_ticklabels()) if min(limits) <= at <= max(limits)]
        found += texts
    found.append(figure._suptitle)
    return [(text.get_text(), text.get_window_extent(renderer)) for text in found
            if text is not None and text.get_visible() and text.get_text()]


def assert_readable(figure):
    """Every text lies on the page and on no other text."""
    width, height = figure.bbox.width, figure.bbox.height
    texts = drawn_texts(figure)
    for words, box in texts:
        assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height, f"'{words}' leaves the page"
    for (first, a), (second, b) in itertools.combinations(texts, 2):
        across, up = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across <= 1 or up <= 1, f"'{first}' lies on '{second}'"


def test_a_prediction_in_pictures(prediction):
    figure = prediction_figure(prediction)
    spectrum, voltage, current, load_line = figure.axes
    state = prediction.state
    lines = {round(line.get_xdata()[0] / 1.152): line for line in spectrum.lines}
    for k in range(1, 7):
        assert lines[k].get_ydata()[0] == pytest.approx(state.output_dbm(k))
    thick = max(lines, key=lambda k: lines[k].get_linewidth())
    assert thick == 2
    q1 = state.devices["Q1"]
    time, volts = voltage.lines[0].get_data()
    assert time[-1] == pytest.approx(2 / 1.152) and voltage.get_ylabel() == "voltage / V"
    assert volts[:-1] == pytest.approx(np.tile(q1.voltage_waveform("collector"), 2))
    assert current.get_ylabel() == "current / mA" and current.get_xlabel() == "time / ns; drawn with 8 harmonics"
    assert current.lines[0].get_ydata()[:-1] == pytest.approx(1e3 * np.tile(q1.current_waveform("collector"), 2))
    v, i = load_line.lines[0].get_data()
    assert v[:-1] == pytest.approx(q1.voltage_waveform("collector"))
    assert i[:-1] == pytest.approx(1e3 * q1.current_waveform("collector"))
    assert_readable(figure)


def test_the_heading_names_supplies_and_the_number_of_warnings(circuit, prediction):
    supply = prediction.state.supplies["VCC"]
    told = f"VCC {show(supply.volts, 'V', 3)}, {show(supply.amps, 'A', 3)}"
    assert prediction_figure(replace(prediction, warnings=()))._suptitle.get_text().splitlines()[1:] == [told]
    for warnings, words in ((("a",), "1 warning"), (("a", "b"), "2 warnings")):
        figure = prediction_figure(replace(prediction, warnings=warnings))
        assert figure._suptitle.get_text().splitlines()[1] == f"{told}; {words}, see the page"
        assert_readable(figure)


@pytest.mark.parametrize("power, harmonics, ticks, below", [
    (0.0, 8, range(1, 9), False), (10.0, 20, range(2, 21, 2), False), (0.0, 40, range(2, 29, 2), True),
    (10.0, 96, range(8, 73, 8), True)])
def test_the_ticks_of_a_spectrum_are_harmonics(circuit, power, harmonics, ticks, below):
    found = predict(circuit.with_values({"drive.power": power}), harmonics=harmonics,
                    accuracy=Accuracy(lines=harmonics))
    figure = prediction_figure(found)
    axis = figure.axes[0].xaxis
    assert axis.get_ticklocs() == pytest.approx([1.152 * k for k in ticks])
    assert [label.get_text() for label in axis.get_ticklabels()] == [
        f"{'' if k == 1 else f'{k} '}f0\n{1.152 * k:.5g}" for k in ticks]
    assert any(found.state.output_dbm(k) <= -100 for k in range(1, harmonics + 1)) == below
    assert ("lines below -100 dBm are left out" in axis.label.get_text()) == below
    assert_readable(figure)


def test_lines_that_move_with_more_harmonics_are_dashed(prediction):
    figure = prediction_figure(replace(prediction, line_changes_db=np.array([0, 0, 0, 0.51, 0.49, 2, np.nan])))
    dashed = [round(line.get_xdata()[0] / 1.152) for line in figure.axes[0].lines if line.is_dashed()]
    assert dashed == [3, 5] and "dashed: moves by more than 0.5 dB" in figure.axes[0].get_xlabel()
    assert_readable(figure)
    still = prediction_figure(replace(prediction, line_changes_db=np.zeros(7)))
    assert "dashed" not in still.axes[0].get_xlabel()


@pytest.mark.parametrize("name, names", [("bridge", ["D1_1", "D2_1", "D3_1", "D4_1"]), ("chain", ["Q1", "Q2"])])
def test_several_devices_are_drawn_and_told_apart_without_colour(balanced, name, names):
    figure = prediction_figure(balanced[name])
    _, voltage, current, load_line = figure.axes
    legend = voltage.get_legend()
    assert [text.get_text() for text in legend.get_texts()] == names
    loops = [line for line in load_line.lines if len(line.get_xdata()) > 1 and not line.get_marker() == "o"]
    dashes = []
    for n, device in enumerate(names):
        state = balanced[name].state.devices[device]
        volts, amps = (state.voltage_waveform(state.main_pin), 1e3 * state.current_waveform(state.main_pin))
        assert voltage.lines[n].get_ydata()[:-1] == pytest.approx(np.tile(volts, 2), abs=1e-12)
        assert current.lines[n].get_ydata()[:-1] == pytest.approx(np.tile(amps, 2), abs=1e-12)
        assert loops[n].get_data() == (pytest.approx(np.append(volts, volts[0]), abs=1e-12),
                                       pytest.approx(np.append(amps, amps[0]), abs=1e-12))
        # unscaled: the width of a line stretches its dashes
        drawn = {str(line._unscaled_dash_pattern) for line in (voltage.lines[n], current.lines[n], loops[n],
                                                              legend.get_lines()[n])}
        assert len(drawn) == 1
        dashes += drawn
    assert len(set(dashes)) == len(names)
    assert "devices" not in voltage.get_title(loc="left")
    assert_readable(figure)


@pytest.mark.parametrize("name, names, words", [
    ("long chain", ["Q3", "Q4", "Q5", "Q6"], "4 of 6 devices, no other gives more at f0"),
    ("long arms", ["D1_1", "D1_2", "D2_1", "D2_2"], "4 of 8 devices, no other gives more at 2 f0")])
def test_of_many_devices_those_that_give_most_are_drawn_and_the_rest_is_told(balanced, name, names, words):
    figure = prediction_figure(balanced[name])
    assert [text.get_text() for text in figure.axes[1].get_legend().get_texts()] == names
    assert words in figure.axes[1].get_title(loc="left")
    assert_readable(figure)


def test_long_names_and_unlike_devices_have_room():
    diode = {"kind": "diode", "use": "switching-diode"}
    mixed = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "100 MHz", "power": "0 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}}, supply={"VCC": {"node": "vcc", "voltage": "5 V"}},
        part={"Rb": {"kind": "resistor", "nodes": ["vcc", "in"], "resistance": "47 kohm"},
              "first_stage_transistor": {"kind": "bjt", "use": "npn-5ghz", "VCEO": "5 V",
                                         "nodes": {"base": "in", "collector": "c", "emitter": "ground"}},
              "Rc": {"kind": "resistor", "nodes": ["vcc", "c"], "resistance": "330 ohm"},
              "Cc": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": "1 nF"},
              "clamping_diode_upward": {**diode, "nodes": {"anode": "out", "cathode": "ground"}},
              "clamping_diode_downward": {**diode, "nodes": {"anode": "ground", "cathode": "out"}}})
    figure = prediction_figure(predict(mixed, harmonics=8))
    assert [text.get_text() for text in figure.axes[1].get_legend().get_texts()] == [
        "first_stage_transistor collector", "clamping_diode_upward anode", "clamping_diode_downward anode"]
    assert any("limit of first_stage_transistor" in text.get_text() for text in figure.axes[3].texts)
    assert_readable(figure)


def limits(found):
    """Limits drawn on the load line: {"limit 4.5 V": place of its line}."""
    axes = prediction_figure(found).axes[3]
    drawn = [line for line in axes.lines if line.is_dashed()]
    words = [text.get_text() for text in axes.texts if text.get_text().startswith("limit")]
    return {word: line.get_xdata()[0] if word.endswith("V") else line.get_ydata()[0]
            for word, line in zip(words, drawn, strict=True)}


def test_limits_near_the_load_line_are_drawn(circuit):
    def at(**values):
        return predict(circuit.with_values({f"Q1.{name}": value for name, value in values.items()}), harmonics=6)

    device = at().state.devices["Q1"]
    peak = {rating.meaning: rating.value for rating in device.ratings}
    volts, amps = peak["peak collector-emitter voltage"], peak["peak collector current"]
    found = at(VCEO=1.1 * volts, IC_max=0.9 * amps)
    assert limits(found) == {f"limit {show(1.1 * volts, 'V', 3)}": pytest.approx(1.1 * volts),
                             f"limit {show(0.9 * amps, 'A', 3)}": pytest.approx(0.9e3 * amps)}
    assert_readable(prediction_figure(found))
    assert limits(at(VCEO=10 * volts, IC_max=10 * amps)) == {}


def test_limits_of_a_pnp_are_drawn_on_the_negative_side():
    tables = {"drive": {"port": "input", "frequency": "10 MHz", "power": "-10 dBm"},
              "port": {"input": {"node": "b"}, "output": {"node": "out"}},
              "supply": {"VEE": {"node": "e", "voltage": "3 V"}},
              "part": {"Rb": {"kind": "resistor", "nodes": ["b", "ground"], "resistance": "10 kohm"},
                       "Cb": {"kind": "capacitor", "nodes": ["b", "q"], "capacitance": "10 nF"},
                       "Rq": {"kind": "resistor", "nodes": ["q", "ground"], "resistance": "20 kohm"},
                       "Rc": {"kind": "resistor", "nodes": ["c", "ground"], "resistance": "100 ohm"},
                       "Cc": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": "10 nF"},
                       "Q1": {"kind": "bjt", "polarity": "pnp", "IS": "1 fA", "BF": "100", "VCEO": "3.2 V",
                              "IC_max": "1 A", "nodes": {"base": "q", "collector": "c", "emitter": "e"}}}}
    assert limits(predict(hbsim.Circuit.build(**tables), harmonics=6)) == {"limit 3.2 V": pytest.approx(-3.2)}


def test_a_drive_sweep_in_pictures(circuit):
    table = circuit.sweep({"drive.power": "-40:5:1dBm"}, harmonics=4)
    found = compression(circuit.description, table)
    figure = sweep_figure(table, found)
    levels, loss, slope = figure.axes
    for line, k in zip(levels.lines, (1, 2, 3)):
        assert line.get_xdata() == pytest.approx(table["drive.power"])
        assert line.get_ydata() == pytest.approx(table[f"output_dbm_{k}"])
    assert len({line.get_linestyle() if isinstance(line.get_linestyle(), str) else str(line._dash_pattern)
                for line in levels.lines[:3]}) > 1  # told apart without colour
    square = levels.lines[4]
    assert square.get_data() == (pytest.approx([found.drive_dbm]), pytest.approx([found.output_dbm]))
    assert loss.lines[0].get_ydata() == pytest.approx(table["input_return_loss_db"])
    assert slope.lines[0].get_ydata()[0] == pytest.approx(2, abs=0.02)  # square law at low drive
    assert slope.get_xlabel() == "drive.power / dBm"
    assert_readable(figure)


@pytest.mark.parametrize("axes", [
    {"supply.VCC": "1:3:0.5V"}, {"C_c.capacitance": "1:2:0.5pF"}, {"Q1.temperature": "0:40:20degC"},
    {"Q1.BF": [100.0]}, {"drive.power": [0.0]}, {"supply.VCC": [2.0], "drive.power": "-10:0:5dBm"},
    {"supply.VCC": [2.0], "drive.power": [0.0]}])
def test_other_sweeps_in_curves(circuit, axes):
    table = circuit.sweep(axes, harmonics=4)
    figure = sweep_figure(table, None)
    assert figure.axes[0].lines[1].get_ydata() == pytest.approx(table["output_dbm_2"].ravel())
    assert_readable(figure)


def test_units_of_an_axis_have_a_fitting_prefix(circuit):
    figure = sweep_figure(circuit.sweep({"C_c.capacitance": "1:2:0.5pF"}, harmonics=4))
    assert figure.axes[-1].get_xlabel() == "C_c.capacitance / pF"
    assert figure.axes[0].lines[0].get_xdata() == pytest.approx([1.0, 1.5, 2.0])


def test_maps(circuit):
    table = circuit.sweep({"drive.power": "-10:10:5dBm", "supply.VCC": "1:4:1V"}, harmonics=4)
    figure = sweep_figure(table)
    output, loss = figure.axes[:2]
    best = np.unravel_index(np.argmax(table["output_dbm_2"]), table.shape)
    assert output.lines[0].get_data() == ([table["supply.VCC"][best[1]]], [table["drive.power"][best[0]]])
    assert (output.get_ylabel(), output.get_xlabel()) == ("drive.power / dBm", "supply.VCC / V")
    filled = output.collections[0]
    assert filled.levels[0] <= table["output_dbm_2"].min() and filled.levels[-1] >= table["output_dbm_2"].max()
    assert_readable(figure)


def test_what_is_unsolved_is_grey_and_counted(circuit):
    curves = sweep_figure(circuit.sweep({"Q1.thermal_resistance": [0.0, 1000.0, 1e6]}, harmonics=4))
    assert "1 of 3 points not solved" in curves.axes[0].get_title(loc="left")
    table = circuit.sweep({"Q1.thermal_resistance": [0.0, 1000.0, 1e6], "drive.power": "-10:0:5dBm"}, harmonics=4)
    figure = sweep_figure(table)
    assert "3 of 9 points not solved" in figure._suptitle.get_text()
    assert_readable(figure)
    axes = {"Q1.thermal_resistance": [1e6, 2e6], "drive.power": [-5.0, 0.0]}
    nothing = sweep_figure(circuit.sweep(axes, harmonics=4))
    assert "4 of 4 points not solved" in nothing._suptitle.get_text()


def test_points_that_are_less_sure_are_marked(circuit):
    table = circuit.sweep({"drive.power": "-40:20:10dBm"}, harmonics=8)
    less_sure = table.axes["drive.power"][table.unsettled]
    assert 0 < len(less_sure) < 7
    figure = sweep_figure(table)
    ticks, = (line for line in figure.axes[0].lines if line.get_marker() == "|")
    assert ticks.get_xdata() == pytest.approx(less_sure)
    words = figure.axes[0].get_title(loc="left").replace("\n", " ")
    assert "ticks at the foot: less sure than 0.01 dB at the wanted line" in words
    assert_readable(figure)
    both = circuit.sweep({"drive.power": "-40:20:10dBm", "supply.VCC": [2.0, 2.5]}, harmonics=8)
    figure = sweep_figure(both)
    dots, = (line for line in figure.axes[0].lines if line.get_marker() == "o")
    drive, supply = np.meshgrid(both["drive.power"], both["supply.VCC"], indexing="ij")
    assert dots.get_data() == (pytest.approx(supply.ravel()[both.unsettled]),
                               pytest.approx(drive.ravel()[both.unsettled]))
    assert "dots: less sure" in figure._suptitle.get_text() and len(figure.axes[1].lines) == 2  # the cross, twice
    assert_readable(figure)


def test_a_circuit_without_devices_or_output_has_a_picture():
    linear = hbsim.Circuit.build(drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
                                 port={"input": {"node": "in"}, "output": {"node": "out"}},
                                 part={"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}})
    figure = prediction_figure(predict(linear, harmonics=3))
    assert len(figure.axes) == 1
    assert_readable(figure)
    assert_readable(sweep_figure(linear.sweep({"drive.power": [-10.0, 0.0]}, harmonics=3)))


def test_three_quantities_have_no_picture(circuit):
    table = circuit.sweep({"drive.power": [0.0, 1.0], "supply.VCC": [2.0, 3.0], "Q1.BF": [90.0, 100.0]}, harmonics=4)
    with pytest.raises(Refusal, match="--csv"):
        sweep_figure(table)


@pytest.mark.parametrize("ending, start", [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_formats(prediction, tmp_path, ending, start):
    path = tmp_path / f"picture.{ending}"
    save(prediction_figure(prediction), str(path))
    content = path.read_bytes()
    assert content.startswith(start)
    if ending == "svg":
        words = "".join(xml.etree.ElementTree.fromstring(content).itertext())
        assert "frequency / GHz" in words  # text stays text


def test_other_formats_are_refused():
    for name in ("picture.gif", "picture", "-"):
        with pytest.raises(Refusal, match=r"\.png, \.svg, \.pdf"):
            check_format(name)


def test_labels_at_the_ends_of_lines_keep_apart():
    figure = new_figure(4, 3)
    axes = figure.add_subplot()
    axes.set(xlim=(0, 1), ylim=(0, 10))
    label_lines(axes, [(1.0, y, f"line {y}", "k") for y in (5.0, 5.1, 5.2, 9.9, 10.0)])
    assert_readable(figure)


@pytest.mark.parametrize("values, unit, expected, shown", [
    ([1e-12, 2e-12], "F", [1, 2], "pF"), ([0.0, 0.03], "m", [0, 30], "mm"), ([0.0], "V", [0], "V"),
    ([-20.0, 3.0], "dBm", [-20, 3], "dBm"), ([273.15, 300.0], "K", [0, 26.85], "degC"), ([4.4], "1", [4.4], ""),
    ([np.inf, 2e-3], "V", [np.inf, 2], "mV"), ([200.0], "K/W", [200], "K/W"), ([5.8e7], "S/m", [5.8e7], "S/m")])
def test_scaled(values, unit, expected, shown):
    found, unit = scaled(np.array(values), unit)
    assert found == pytest.approx(np.array(expected)) and unit == shown


def test_the_axes_of_collector_current_bear_units():
    found = curves("npn-25ghz")
    figure = device_figure(found)
    assert_readable(figure)
    for axes in (axes for axes in figure.axes if axes.get_xlabel() == "IC"):
        places = {label.get_text(): at for at, label in zip(axes.get_xticks(), axes.get_xticklabels())}
        assert places["1 mA"] == pytest.approx(1e-3) and places["100 mA"] == pytest.approx(0.1)
        assert axes.lines[0].get_xdata() == pytest.approx(found.collector_current, nan_ok=True)
