"""
The choice of stacks as one plain model, piece by piece and stack by stack: an independent judge, slow and simple.

Nothing here is shared with the package: no closed form, no counting, only OR-Tools' CP-SAT and the rules as they read.
"""

from __future__ import annotations

from itertools import combinations

from ortools.sat.python import cp_model


def best_weakest(
    lightness, layers, blocks, order, *, background=None, groups=(), sides=(), group_of=None, side_of=None, must=(),
    never=(), kinds=(), twins=0, tolerance=0, profile=(), at_least=None, cost=None, seconds=60,
):  # fmt: skip
    """
    Return the best weakest score in whole numbers (or the least cost, with `at_least`); None where nothing is possible.

    lightness, background, tolerance, profile and at_least are whole numbers; kinds are lists of a label a piece (None:
    unlike all others).
    """
    model = cp_model.CpModel()
    pieces = range(len(lightness))
    x = {(b, la, i): model.new_bool_var("") for b in range(blocks) for la in range(layers) for i in pieces}
    for b in range(blocks):
        for la in range(layers):
            model.add_exactly_one(x[b, la, i] for i in pieces)
    for i in pieces:
        used = [x[b, la, i] for b in range(blocks) for la in range(layers)]
        if i in must:
            model.add_exactly_one(used)
        else:
            model.add_at_most_one(used)
    for (_, la, i), here in x.items():
        wrong_group = groups and groups[la] is not None and group_of[i] != groups[la]
        if i in never or wrong_group or (sides and side_of[i] < sides[la]):
            model.add(here == 0)
    top = max(max(lightness), background or 0) + 1
    worst = model.new_int_var(-top, top, "worst")
    value = {(b, la): sum(lightness[i] * x[b, la, i] for i in pieces) for b in range(blocks) for la in range(layers)}
    for b in range(blocks):
        steps = [value[b, la + 1] - value[b, la] for la in range(layers - 1)]
        wanted = list(profile[1:] if len(profile) == layers else profile) or [None] * (layers - 1)
        ups = []
        for step, want in zip(steps, wanted, strict=True):
            up = model.new_bool_var("")
            ups.append(up)
            model.add(step >= 0).only_enforce_if(up)
            model.add(step <= 0).only_enforce_if(up.negated())
            size = model.new_int_var(0, top, "")
            model.add_abs_equality(size, step)
            _score(model, worst, size, want, at_least, top)
        if background is not None and not (profile and len(profile) < layers):
            size = model.new_int_var(0, top, "")
            model.add_abs_equality(size, value[b, 0] - background)
            _score(model, worst, size, profile[0] if len(profile) == layers else None, at_least, top)
        for one, next_one in zip(ups, ups[1:], strict=False):
            if order == "stepped":
                model.add(one == next_one)
            if order == "alternating":
                model.add(one != next_one)
        for labels in kinds:
            for i, j in combinations(pieces, 2):
                if labels[i] is not None and labels[i] == labels[j]:
                    model.add(sum(x[b, la, i] + x[b, la, j] for la in range(layers)) <= 1)
    for pair in range(twins):
        for la in range(layers):
            model.add_linear_constraint(value[2 * pair, la] - value[2 * pair + 1, la], -tolerance, tolerance)
    for b in range(2 * twins, blocks - 1):  # of stacks that can change places, the darker base first
        model.add(value[b, 0] <= value[b + 1, 0])
    if at_least is None:
        model.maximize(worst)
    else:
        model.minimize(sum(cost[i] * here for (_, _, i), here in x.items()))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), solver.status_name(status)
    return None if status == cp_model.INFEASIBLE else round(solver.objective_value)


def _score(model, worst, size, want, at_least, top):
    if at_least is not None:
        model.add(size >= at_least)
    elif want is None:
        model.add(worst <= size)
    else:
        off = model.new_int_var(0, top, "")
        model.add_abs_equality(off, size - want)
        model.add(worst <= -off)
