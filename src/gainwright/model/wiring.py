"""Resolve `from` and `inputs` to nodes, ports and paths.

Rules. A stage has the sides of its source unless the job says otherwise; a bridged amplifier has one side. A mono output
of two sides is half of each; a side fed from mono takes all of it. Several sources in a list are joined, each with
an equal share; inside a processor the inputs named in a list are added. A side of an output is a mono source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.model.chain_size import check_declared, check_size
from gainwright.model.digital_links import check_digital_links, digital_nodes
from gainwright.model.nodes import LeadRun, Node, Port
from gainwright.model.paths import Path
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stages import Processor, Speaker
from gainwright.model.strapping import strapped_signs
from gainwright.model.wiring_errors import (
    bad_wiring,
    circle_of,
    mono_joined,
    several_outputs,
    several_sides,
    unknown_reference,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from gainwright.model.job import Job
    from gainwright.model.stages import Amplifier, Converter, LevelControl, LineDriver

    FedKind = Amplifier | Converter | LevelControl | LineDriver | Speaker

_SIDE_ORDER = {"left": 0, "right": 1, "mono": 2}


@dataclass(frozen=True, slots=True)
class Feed:
    """One contribution to the signal at a port."""

    node: Node
    share: float


@dataclass(frozen=True, slots=True)
class Route:
    """The share that an output takes from a port of its own stage."""

    port: Port
    share: float


@dataclass(frozen=True, slots=True)
class Wiring:
    """A chain's connections, resolved.

    Attributes
    ----------
    order : stage names in signal order.
    nodes : output nodes in signal order.
    feeds : port -> its contributions (speakers' ports included).
    routes : output node -> what it takes from its own stage's ports (empty for a source).
    leads : the runs between stages, in signal order, with the ports each serves.
    paths : one for each speaker and side.
    digital : the nodes that carry full scale and no volts; their level is 1 for a full-scale sine.
    """

    order: tuple[str, ...]
    nodes: tuple[Node, ...]
    feeds: Mapping[Port, tuple[Feed, ...]]
    routes: Mapping[Node, tuple[Route, ...]]
    leads: Mapping[LeadRun, tuple[tuple[Node, Port], ...]]
    paths: tuple[Path, ...]
    digital: frozenset[Node] = frozenset()
    _takers: dict[Node, tuple[Port, ...]] = field(init=False, repr=False, compare=False, default_factory=dict)
    _before: dict[str, tuple[Node, ...]] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        for port, feeds in self.feeds.items():
            for node in dict.fromkeys(feed.node for feed in feeds):
                self._takers[node] = (*self._takers.get(node, ()), port)

    def ports(self, stage: str) -> tuple[Port, ...]:
        """Return a stage's ports."""
        return tuple(port for port in self.feeds if port.stage == stage)

    def is_digital(self, run: LeadRun) -> bool:
        """Return whether a lead is a digital link."""
        return self.leads[run][0][0] in self.digital

    def has_sides(self, stage: str) -> bool:
        """Return whether left and right enter a stage by leads of their own, so that they can be exchanged."""
        return {"left", "right"} <= {port.side for port in self.ports(stage) if not self.is_fed_digitally(port)}

    def is_fed_digitally(self, port: Port) -> bool:
        """Return whether a digital link ends at a port."""
        return any(feed.node in self.digital for feed in self.feeds[port])

    def outputs(self, stage: str) -> tuple[Node, ...]:
        """Return a stage's output nodes."""
        return tuple(node for node in self.nodes if node.stage == stage)

    def ports_fed_by(self, node: Node) -> tuple[Port, ...]:
        """Return the ports that a node feeds."""
        return self._takers.get(node, ())

    def pair(self, port: Port) -> tuple[Node, Node] | None:
        """Return the outputs at the plus and the minus end of a load between a strapped pair, None for any other port."""
        feeds = self.feeds[port]
        if len(feeds) != 2 or not any(feed.share < 0 for feed in feeds):
            return None
        plus, minus = sorted(feeds, key=lambda feed: -feed.share)
        return plus.node, minus.node

    def upstream(self, stage: str, side_ports: Iterable[Port] | None = None) -> tuple[Node, ...]:
        """Return every node before a stage (or before some of its ports), in signal order."""
        if side_ports is not None:
            return self._nodes_before(side_ports)
        if stage not in self._before:
            self._before[stage] = self._nodes_before(self.ports(stage))
        return self._before[stage]

    def _nodes_before(self, ports: Iterable[Port]) -> tuple[Node, ...]:
        found: set[Node] = set()
        waiting = list(ports)
        while waiting:
            for feed in self.feeds[waiting.pop()]:
                if feed.node not in found:
                    found.add(feed.node)
                    waiting += [route.port for route in self.routes[feed.node]]
        return tuple(node for node in self.nodes if node in found)


def resolve_anew(job: Job) -> Wiring:
    """Resolve the wiring of a job; `gainwright.model.resolve` keeps what it found.

    Raises
    ------
    JobError : a reference that leads nowhere or to the wrong thing, a cycle, sides that don't match, an output that
        reaches no speaker, a chain far larger than any car's; `where` is the key's path.
    """
    return _Resolver(job).run()


class _Resolver:
    def __init__(self, job: Job) -> None:
        self.job = job
        self.outputs: dict[str, dict[str, tuple[str, ...]]] = {}
        self.feeds: dict[Port, tuple[Feed, ...]] = {}
        self.routes: dict[Node, tuple[Route, ...]] = {}
        self.order: list[str] = []

    def run(self) -> Wiring:
        if not any(isinstance(stage, HeadUnit) for stage in self.job.stages.values()):
            raise bad_wiring(
                "stages", say("no stage is a head_unit"), say("a chain begins with a source"), say("add one")
            )
        check_declared(self.job)
        for name in self.job.stages:
            self._visit(name, ())
        nodes = tuple(
            Node(stage, output, side)
            for stage in self.order
            for output, sides in self.outputs[stage].items()
            for side in sides
        )
        check_size({n: [f.node for r in self.routes[n] for f in self.feeds[r.port]] for n in nodes}, len(self.feeds))
        digital = digital_nodes(self.job, nodes)
        check_digital_links(self.job, digital, {p: tuple(f.node for f in feeds) for p, feeds in self.feeds.items()})
        wiring = Wiring(tuple(self.order), nodes, self.feeds, self.routes, self._leads(), ())
        paths = self._paths(wiring)
        self._check_all_reach_a_speaker(nodes, paths)
        return Wiring(wiring.order, nodes, self.feeds, self.routes, wiring.leads, paths, digital)

    def _visit(self, name: str, above: tuple[str, ...]) -> None:
        if name in self.order:
            return
        if name in above:
            raise circle_of(name, [*above[above.index(name) :], name])
        for _, _, reference in self._references(name):
            target = reference.split(".")[0]
            if target in self.job.stages:
                self._visit(target, (*above, name))
        stage = self.job.stages[name]
        if isinstance(stage, HeadUnit):
            self.outputs[name] = {output: _ordered(o.sides) for output, o in stage.outputs.items()}
            for output, sides in self.outputs[name].items():
                self.routes |= {Node(name, output, side): () for side in sides}
        elif isinstance(stage, Processor):
            self._processor(name, stage)
        else:
            self._fed(name, stage)
        self.order.append(name)

    def _references(self, name: str) -> list[tuple[str, str | None, str]]:
        """Return (key path, side or coil or None, reference) for every source of a stage."""
        stage = self.job.stages[name]
        if isinstance(stage, HeadUnit):
            return []
        sources = (
            {f"stages.{name}.inputs.{key}": source for key, source in stage.inputs.items()}
            if isinstance(stage, Processor)
            else {f"stages.{name}.from": stage.source}
        )
        found: list[tuple[str, str | None, str]] = []
        for path, source in sources.items():
            if isinstance(source, str):
                found.append((path, None, source))
            elif isinstance(source, dict):
                found += [(f"{path}.{side}", side, reference) for side, reference in source.items()]
            else:
                found += [(f"{path}.{i}", None, reference) for i, reference in enumerate(source)]
            if not source:
                raise bad_wiring(
                    path,
                    say("no source is named here"),
                    say("every stage but a head unit needs a source"),
                    say("name an output"),
                )
        return found

    def _lookup(self, path: str, reference: str) -> tuple[str, str, tuple[str, ...], str | None]:
        """Return stage, output, its sides, and the one side asked for if any."""
        stage, _, rest = reference.partition(".")
        if stage not in self.outputs:
            raise unknown_reference(path, stage, [s for s in self.job.stages if s != path.split(".")[1]], "stage")
        outputs = self.outputs[stage]
        if not outputs:
            raise bad_wiring(
                path, say("{stage} is a speaker and feeds nothing", stage=stage), "", say("name the stage before it")
            )
        output, _, side = rest.partition(".")
        if not output:
            if len(outputs) > 1:
                raise several_outputs(path, stage, list(outputs))
            output = next(iter(outputs))
        elif output not in outputs and len(outputs) == 1 and output in next(iter(outputs.values())) and not side:
            output, side = next(iter(outputs)), output
        if output not in outputs:
            raise unknown_reference(path, output, outputs, "output", stage)
        if side and side not in outputs[output]:
            raise unknown_reference(path, side, outputs[output], "side", f"{stage}.{output}")
        return stage, output, outputs[output], side or None

    def _connect(self, name: str, input_name: str, references: list[tuple[str, str | None, str]]) -> None:
        """Fill the ports of one input from its references."""
        arriving: dict[Port, list[Node]] = {}
        for path, key, reference in references:
            stage, output, sides, one_side = self._lookup(path, reference)
            if key is not None:
                if one_side is None and len(sides) > 1:
                    raise several_sides(path, reference, f"{stage}.{output}", sides)
                is_side = key in _SIDE_ORDER
                port = Port(name, input_name if is_side else key, key if is_side else "mono")
                arriving.setdefault(port, []).append(Node(stage, output, one_side or sides[0]))
            elif one_side is not None:
                arriving.setdefault(Port(name, input_name, "mono"), []).append(Node(stage, output, one_side))
            else:
                for side in sides:
                    arriving.setdefault(Port(name, input_name, side), []).append(Node(stage, output, side))
        present = {port.side for port in arriving}
        if "mono" in present and len(present) > 1:
            raise mono_joined(references[0][0], present)
        for port in sorted(arriving, key=lambda p: (p.input, _SIDE_ORDER[p.side])):
            nodes = arriving[port]
            strapped = strapped_signs(self.job, nodes) if isinstance(self.job.stages[name], Speaker) else ()
            shares = strapped or (1 / len(nodes),) * len(nodes)
            self.feeds[port] = tuple(Feed(node, share) for node, share in zip(nodes, shares, strict=True))

    def _fed(self, name: str, stage: FedKind) -> None:
        references = self._references(name)
        if isinstance(stage.source, dict) and not isinstance(stage, Speaker):
            for path, key, _ in references:
                if key not in _SIDE_ORDER:
                    raise unknown_reference(path, str(key), _SIDE_ORDER, "side")
        self._connect(name, "in", references)
        ports = tuple(port for port in self.feeds if port.stage == name)
        if isinstance(stage, Speaker):
            self.outputs[name] = {}
            if stage.sides is not None:
                self._check_speaker_sides(name, stage, ports)
            return
        bridged = bool(getattr(stage, "bridged", False))
        sides = _ordered(stage.sides or (("mono",) if bridged else tuple(port.side for port in ports)))
        self.outputs[name] = {"out": sides}
        for side in sides:
            self.routes[Node(name, "out", side)] = _routes(side, [ports], f"stages.{name}.sides")

    def _check_speaker_sides(self, name: str, stage: Speaker, ports: tuple[Port, ...]) -> None:
        if set(stage.sides or ()) != {port.side for port in ports}:
            raise bad_wiring(
                f"stages.{name}.sides",
                say("the speaker is fed from {listed}", listed=", ".join(sorted({p.side for p in ports}))),
                say("a speaker has the sides of its amplifier"),
                say("leave sides out"),
            )

    def _processor(self, name: str, stage: Processor) -> None:
        for input_name in stage.inputs:
            path = f"stages.{name}.inputs.{input_name}"
            mine = [r for r in self._references(name) if r[0] == path or r[0].startswith(path + ".")]
            self._connect(name, input_name, mine)
        self.outputs[name] = {}
        for output, o in stage.outputs.items():
            path = f"stages.{name}.outputs.{output}.from"
            groups = [self._input_ports(name, path, text, stage) for text in self._output_sources(output, stage, path)]
            joined = {port.side for group in groups for port in group}
            sides = _ordered(o.sides or tuple(joined if joined != {"left", "right", "mono"} else {"left", "right"}))
            self.outputs[name][output] = sides
            for side in sides:
                self.routes[Node(name, output, side)] = _routes(side, groups, path)

    def _output_sources(self, output: str, stage: Processor, path: str) -> list[str]:
        source = stage.outputs[output].source
        if not source:
            if source is None and output in stage.inputs:
                return [output]
            if source is None and len(stage.inputs) == 1:
                return [next(iter(stage.inputs))]
            raise bad_wiring(
                path.removesuffix(".from"),
                say("its input is not given"),
                "",
                say("add from: {name}", name=next(iter(stage.inputs))),
            )
        return [source] if isinstance(source, str) else list(source)

    def _input_ports(self, name: str, path: str, text: str, stage: Processor) -> tuple[Port, ...]:
        input_name, _, side = text.partition(".")
        if input_name not in stage.inputs:
            raise unknown_reference(path, input_name, stage.inputs, "input", name)
        ports = tuple(port for port in self.feeds if port.stage == name and port.input == input_name)
        if not side:
            return ports
        chosen = tuple(Port(p.stage, p.input, p.side) for p in ports if p.side == side)
        if not chosen:
            raise unknown_reference(path, side, [p.side for p in ports], "side", input_name)
        return chosen

    def _leads(self) -> dict[LeadRun, tuple[tuple[Node, Port], ...]]:
        leads: dict[LeadRun, list[tuple[Node, Port]]] = {}
        for name in self.order:
            for port, feeds in self.feeds.items():
                if port.stage == name:
                    for feed in feeds:
                        run = LeadRun(feed.node.stage, feed.node.output, name)
                        leads.setdefault(run, []).append((feed.node, port))
        return {run: tuple(pairs) for run, pairs in leads.items()}

    def _paths(self, wiring: Wiring) -> tuple[Path, ...]:
        paths = []
        for name in self.order:
            if isinstance(self.job.stages[name], Speaker):
                ports = wiring.ports(name)
                for side in _ordered(tuple({port.side for port in ports})):
                    upstream = wiring.upstream(name, [port for port in ports if port.side == side])
                    paths.append(Path(f"{name}.{side}", name, side, upstream))
        return tuple(paths)

    def _check_all_reach_a_speaker(self, nodes: tuple[Node, ...], paths: tuple[Path, ...]) -> None:
        reached = {node for path in paths for node in path.nodes}
        node = next((node for node in nodes if node not in reached), None)
        if node is not None:
            many = isinstance(self.job.stages[node.stage], HeadUnit | Processor)
            raise bad_wiring(
                f"stages.{node.stage}.outputs.{node.output}" if many else f"stages.{node.stage}",
                say("{node} reaches no speaker", node=node),
                say("every output must lead to a speaker"),
                say("connect it with a `from`, or remove it from the job"),
            )


def _routes(side: str, groups: list[tuple[Port, ...]], path: str) -> tuple[Route, ...]:
    routes: list[Route] = []
    for ports in groups:
        same = [port for port in ports if port.side == side]
        mono = [port for port in ports if port.side == "mono"]
        if same:
            routes += [Route(port, 1.0) for port in same]
        elif mono or len(ports) == 1:
            routes += [Route(port, 1.0) for port in (mono or ports)]
        elif side == "mono":
            routes += [Route(port, 1 / len(ports)) for port in ports]
        else:
            raise bad_wiring(
                path,
                say("the side {side} is requested", side=side),
                say("the input has {listed}", listed=", ".join(port.side for port in ports)),
                say("give sides that match"),
            )
    return tuple(routes)


def _ordered(sides: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(sorted(dict.fromkeys(sides), key=_SIDE_ORDER.__getitem__))
