"""Two short procedures for the bundled bench."""

TWO_LOOKS = """\
procedure: two-looks
title: Two looks
revision: "1"
stages:
  - stage: looks
    title: Looks
    drive: dead
    cautions: [Gloves.]
    steps:
      - step: lid
        ask: Is the lid shut?
        verb: look
        thing: door-shut
        answer: yes or no
        expect: yes
      - step: ambient
        measure: temperature
        at: ambient-temperature
        limit: {at-least: 10 Cel, at-most: 35 Cel, source: invented for the tests}
"""

LONG_WAIT = """\
procedure: long-wait
title: A long wait with something on
revision: "1"
stages:
  - stage: fed
    title: The bench feeds
    drive: bench feeds
    steps:
      - step: bus-on
        switch: {turn-on: [bus-dc24]}
      - step: wait
        settle: 5 min
        minutes: 5
"""
