"""A gateway at work: builds every part from the station file, joins them, looks after them, and stops them.

| file | holds |
| --- | --- |
| `clubhouse.py` | a station's part in its club, joined to the service: a post hands on beside its own house |
| `collector.py` | Python's collector of garbage: spared while frames pass, and run now and then |
| `faults.py` | faults of the gateway's own that harm one frame, one look or one file, and must not harm more |
| `house.py` | joins all that is told of what is heard: what the feed remembers, the watches, and then every sink |
| `lock.py` | one gateway for one station file and one journal: two would both log in, and send what both hear twice |
| `loop_faults.py` | what the event loop has to say of sockets and callbacks that failed: said once a minute |
| `notify.py` | what a service manager is told: that the gateway is ready, what it does, that it lives, that it stops |
| `policy_in_force.py` | the policy in force: what the judge judges by |
| `policy_watch.py` | notices when a file of the policy, or the station file, was written anew |
| `service.py` | the gateway as a whole: builds every part from the station file, joins them, drains and stops |
| `sinks.py` | makes the sinks that a station file asks for: the bus, the text port, the web |
| `what_if.py` | has a policy that somebody pasted in judged over what was heard of late, in a child process |
"""
