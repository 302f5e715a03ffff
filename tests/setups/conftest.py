from __future__ import annotations

import pytest

from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import Vocabulary


@pytest.fixture(scope="session")
def base() -> RuleBase:
    return read_rule_base()


@pytest.fixture(scope="session")
def words(base: RuleBase) -> Vocabulary:
    return base.vocabulary
