"""The judge: which frames should go up, by the network's rules and the operator's policy. No I/O, no clock.

Its verdict depends on the stream of `Heard` so far and on the policy, on nothing else, so that a replay of a capture
decides exactly as the live gateway did.

| file | holds |
| --- | --- |
| `compiled.py` | a policy made ready to be asked: built once when it is loaded, and never changed |
| `conditions.py` | conditions at work: what a policy's `when` asks, as predicates |
| `coverage.py` | whether one `when` covers another |
| `duplicates.py` | which frames went up lately: copies that come by other ways within the window are known by it |
| `emergency.py` | which frames are emergencies: the one definition, for the judge |
| `examples.py` | the examples in a policy |
| `explanation.py` | why a verdict is what it is: every question that was asked of a frame, its answer |
| `fairness.py` | fair shares of a rate that several sources use: who babbles takes from itself, not from the others |
| `first_cover.py` | finds the first rule that covers a `when`, without asking all of them |
| `judge.py` | the judge: takes each `Heard` in turn and gives its verdict |
| `memory.py` | what the judge must know again after a restart: the window of duplicates |
| `network_rules.py` | the network's own rules: what must never go up, whatever the policy says |
| `patterns.py` | shell-style patterns for callsigns |
| `policy.py` | the policy file as models: what an operator may write, checked |
| `policy_schema.py` | the policy language as a JSON Schema, for editors: made from the models |
| `rates.py` | rates and budgets: how much may go up |
| `review.py` | what a policy's author may not have meant: warnings about a policy that is valid, each with its place |
| `source.py` | a policy's text, with what it includes, becomes one checked policy |
| `state.py` | all that a judge knows, as values: two judges in the same state give the same verdicts from then on |
| `verdict.py` | what the judge hands on: a verdict with its reason, and the frame that it is about |
"""
