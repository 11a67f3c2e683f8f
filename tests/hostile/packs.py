"""The rule packs. Each is the sound one with something changed; the manifest names the line."""

from __future__ import annotations

from collections.abc import Callable

FILES: dict[str, Callable[[], bytes]] = {}
SOUND = """\
pack: hostile
version: "1.0"
title: A pack that is spoiled in one place
procedure: periodic-cip
rules:
  - id: HOS-STRENGTH
    title: Solution outside its strength
    kind: concentration
    params:
      agent: chlorine
      min: 50
      max: 200
  - id: HOS-CONTACT
    title: Contact too short
    kind: contact
    params:
      min: PT10M
"""
CATASTROPHIC = "(a+)+$"
PROBES = "{{7*7}} {0.__class__} %(x)s <script>alert(1)</script>"


def pack(name: str, text: str | bytes) -> None:
    data = text.encode() if isinstance(text, str) else text
    FILES[f"packs/pack_{name}.yaml"] = lambda: data


def spoiled(name: str, old: str, new: str) -> None:
    """The sound pack with one piece of its text replaced."""
    assert SOUND.count(old) == 1, (name, old)
    pack(name, SOUND.replace(old, new))


pack("ok", SOUND)
spoiled("norway", "procedure: periodic-cip\n", "procedure: periodic-cip\nsteps: [NO, on, y]\nagents: [off, N, Yes]\n")
spoiled("sexagesimal", "min: PT10M", "min: 15:00")
spoiled("octal_and_float_ids", '"1.0"', "1.10")
spoiled("octal_step", "procedure: periodic-cip\n", "procedure: periodic-cip\nsteps: [0123, 1_000, 1e3]\n")
spoiled("duplicate_keys", "max: 200", "max: 200\n      max: 2000")
spoiled("bool_int_key_clash", "params:\n      agent: chlorine", "params:\n      1: x\n      true: y\n      agent: chlorine")
spoiled("python_tag", "agent: chlorine", 'agent: !!python/object/apply:os.system ["id"]')
pack(
    "billion_laughs",
    SOUND + "x-0: &a0 [ha]\n" + "".join(f"x-{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 10)),
)
spoiled("alias_merge", "params:\n      min: PT10M", "params: &p\n      min: PT10M\n      <<: *p")
spoiled("recursive_alias", "min: PT10M", "min: PT10M\n      steps: &s [*s]")
spoiled("deep_nesting", "agent: chlorine", "agent: " + "[" * 5000 + "]" * 5000)
spoiled("bad_date_scalar", "min: 50\n", "min: 2026-02-30\n")
spoiled("long_number", "min: 50\n", f"min: {'9' * 5000}\n")
spoiled("long_whole_number", "procedure: periodic-cip\n",
        f"procedure: periodic-cip\nprofiles: {{a: {{capacities: {{flush: {'9' * 5000}}}}}}}\n")  # fmt: skip
spoiled("nan_limit", "min: 50\n", "min: .nan\n")
spoiled("infinite_limit", "max: 200", "max: .inf")
spoiled("min_above_max", "min: 50\n", "min: 201\n")
spoiled("unknown_key", "max: 200", "maxx: 200")
spoiled("duplicate_rule_ids", "HOS-CONTACT", "HOS-STRENGTH")
EXTENDING = "procedure: periodic-cip\n"
spoiled("extends_traversal", EXTENDING, EXTENDING + "extends: [../../../../etc/passwd]\n")
spoiled("extends_absolute", EXTENDING, EXTENDING + "extends: [/etc/passwd]\n")
for word, address in {"url": "https://example.invalid/p.yaml", "unc": r"\\host\share\p", "file": "file:///etc/passwd"}.items():
    spoiled(f"extends_{word}", EXTENDING, EXTENDING + f"extends: ['{address}']\n")
for one, other in ("ab", "ba"):
    pack(
        f"extends_cycle_{one}",
        SOUND.replace("pack: hostile", f"pack: pack_extends_cycle_{one}").replace(
            EXTENDING, EXTENDING + f"extends: [pack_extends_cycle_{other}]\n"
        ),
    )
spoiled("tab_indent", "    kind: concentration\n", "\tkind: concentration\n")
pack("two_documents", SOUND + "---\n" + SOUND)
pack("not_utf8", SOUND.replace("agent: chlorine", "agent: chlorine  # 24 \u00b0C").encode("cp1252"))
pack("empty", "")
spoiled("no_rules", SOUND[SOUND.index("rules:") :], "rules: []\n")
spoiled("regex_catastrophic", "min: PT10M", f"min: PT10M\n      pattern: '{CATASTROPHIC}'")
spoiled("template_injection", "Solution outside its strength", f"'{PROBES}'")
