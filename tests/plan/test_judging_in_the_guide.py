"""The contributors' guide names what there is: every correction, every figure, and examples that load."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import yaml

from rig.plan.channels import Accuracy, QuantitySpec
from rig.plan.corrections import CORRECTIONS
from rig.plan.procedure import FIGURES, Waveform
from rig.plan.values import DecisionRule
from rig.plan.wiring import InOrder

GUIDE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_correction_stands_in_the_table_with_its_rule() -> None:
    for name, each in CORRECTIONS.items():
        assert f"| `{name}({', '.join(each.takes)})` | {each.gives} | {each.rule} |" in GUIDE


def test_every_figure_is_named() -> None:
    for word in (*FIGURES, *get_args(Waveform.model_fields["judge"].annotation)):
        assert f"`{word}`" in GUIDE


def test_the_examples_are_read_as_they_stand() -> None:
    (bench,) = re.findall(r"```yaml\n(room:.*?)```", GUIDE, re.DOTALL)
    for line in yaml.safe_load(bench)["instruments"]["meter-1"]["accuracy"]:
        Accuracy.model_validate(line)
    (sensors,) = re.findall(r"```yaml\n(quantities:.*?)```", GUIDE, re.DOTALL)
    read = yaml.safe_load(sensors)["quantities"].values()
    assert {QuantitySpec.model_validate(each).unit for each in read} == {"Cel"}
    (rule,) = re.findall(r"```yaml\ndecision-rule: (.*?)```", GUIDE, re.DOTALL)
    assert DecisionRule.model_validate(yaml.safe_load(rule)).rule().refuse
    (order,) = re.findall(r"`in-order: (\{.*?\})`", GUIDE)
    assert InOrder.model_validate(yaml.safe_load(order)).self_check == "bench-self-check"
