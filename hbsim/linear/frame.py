"""The frame of a network: all parts that stay as they are, condensed once, for networks in which few others change."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from ..errors import Refusal
from .elimination import FRAME
from .islands import GROUND
from .network import Element, Network, dc_ties, law_of


class Frame:
    """Part of a network that serves all networks which differ from it in the `loose` elements alone.

    What such a network says is what one built without a frame says: where that is in doubt (a loop without
    resistance that runs through a loose part, a voltage that hardly anything holds, a part that joins other terminals
    at DC than it did) there is none, and the network is built without.

    Parameters
    ----------
    elements, sources, device_nodes, omega, device_pins, conducting
        As for `Network`, of one of the networks that are to be served.
    loose : collection of str
        Names of the elements that may change; nodes never do. Sources are loose in any case.

    Raises
    ------
    Refusal
        That network is refused, or the frame itself would be.
    """

    def __init__(self, elements: Sequence[Element], sources: Sequence[str], device_nodes: Sequence[str],
                 omega: np.ndarray, device_pins: dict[str, dict[str, str]], conducting: Sequence[tuple[str, str]],
                 loose: Collection[str]) -> None:
        self.loose = frozenset(loose) | frozenset(sources)
        self._sources, self._device_nodes, self._omega = sources, device_nodes, omega
        self._key = tuple(np.asarray(omega, float).tolist())
        self._joined = {e.name: law_of(e, self._key).joined_at_dc for e in elements if e.name in self.loose}
        ties = dc_ties(elements, self._key, device_nodes, device_pins, conducting)
        fixed = [e for e in elements if e.name not in self.loose]
        touched = [node for e in elements if e.name in self.loose for node in e.nodes]
        nodes = [node for node in dict.fromkeys([*device_nodes, *touched]) if node != GROUND]
        inside = dc_ties(fixed, self._key, nodes, {}, None)
        # the same nodes are tied as without a frame: the other ends of a tie stand for the zero of all voltages there
        self._ties = [node for node in ties if node not in inside]
        nodes += [node for node in self._ties if node not in nodes]
        self._network = Network(fixed, [], nodes, omega, ties=inside, care=FRAME)

    def network(self, elements: Sequence[Element]) -> Network | None:
        """The network of these elements, the loose ones changed; None where it must be built without a frame."""
        if not self._network.clear:
            return None
        try:
            if any(law_of(e, self._key).joined_at_dc != self._joined[e.name] for e in elements if e.name in self.loose):
                return None
            network = Network(elements, self._sources, self._device_nodes, self._omega, frame=self._network,
                              ties=self._ties)
        except Refusal:  # whether it is to be refused, and in what words, is for the whole network to say
            return None
        return network if network.settled else None
