# Posteriors of small networks by pomegranate (Schreiber 2018, JMLR 18(164); Debian
# package python3-pomegranate), which the test holds ours against. Standard input: a JSON
# list of networks; standard output: for each how likely nothing is wrong, and each cause.
#
# The network is a tree, for which the library's belief propagation is exact: a root for
# what is wrong (nothing, one cause, or two), and below it each cause (is it at work?) and
# each finding. The finding's table is the greatest of independent contributions, by
# counting out all ways in which they can fall.
import itertools
import json
import math
import sys

from pomegranate import BayesianNetwork, ConditionalProbabilityTable, DiscreteDistribution, Node


def greatest(values, parts):
    out = [0.0] * values
    for ways in itertools.product(*[range(values)] * len(parts)):
        out[max(ways)] += math.prod(part[way] for part, way in zip(parts, ways))
    return out


def posterior(n):
    prior, other = n["prior"], len(n["prior"]) - 1
    total, squares = sum(prior), sum(p * p for p in prior)
    weights = {(): n["nothing"]}
    for c, p in enumerate(prior):
        weights[(c,)] = p * (1 - n["pairs"])
        for d in range(c + 1, len(prior)):
            weights[(c, d)] = total * n["pairs"] * 2 * p * prior[d] / (total * total - squares)
    norm = sum(weights.values())
    name = {state: "+".join(map(str, state)) or "nothing" for state in weights}
    wrong = DiscreteDistribution({name[s]: w / norm for s, w in weights.items()})
    root = Node(wrong, name="wrong")
    nodes, below = [root], []
    for c in range(other):
        rows = [[name[s], at, float((c in s) == (at == "yes"))] for s in weights for at in ("yes", "no")]
        below.append(Node(ConditionalProbabilityTable(rows, [wrong]), name="cause %d" % c))
    for f, own in enumerate(n["own"]):
        rows = []
        for s in weights:
            parts = [own[other]] + [own[c] for c in s if c < other and own[c] is not None]
            for v, p in enumerate(greatest(n["values"][f], parts)):
                rows.append([name[s], "v%d" % v, (1 - n["slip"]) * p + n["slip"] / n["values"][f]])
        below.append(Node(ConditionalProbabilityTable(rows, [wrong]), name="finding %d" % f))
    model = BayesianNetwork("network")
    model.add_nodes(*(nodes + below))
    for node in below:
        model.add_edge(root, node)
    model.bake()
    seen = {"finding %d" % f: "v%d" % v for f, v in enumerate(n["seen"])}
    states = [s.name for s in model.states]
    beliefs = dict(zip(states, model.predict_proba(seen)))
    return {
        "nothing": beliefs["wrong"].parameters[0]["nothing"],
        "causes": [beliefs["cause %d" % c].parameters[0]["yes"] for c in range(other)],
    }


json.dump([posterior(n) for n in json.load(sys.stdin)], sys.stdout)
