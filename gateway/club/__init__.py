"""A club of posts on one engine (NATS JetStream): posts hand on what they hear, hubs judge it, one of them sends.

Pure machines under thin shells: the lease, what may be sent, the order of the stream and its time do no I/O and read no
clock.

| file | holds |
| --- | --- |
| `answers.py` | how to wait for an answer of the engine: a question is asked again while none has come |
| `beat.py` | a member's beat: a small message of its own each second, whose stamp tells what the stream's clock says |
| `dispatch.py` | the frames that the hubs judged `forward`, at one hub: what waits to be sent |
| `division.py` | how a club's frames are divided among its hubs: the engine's record refuses a hub that overlaps |
| `embedded.py` | the engine as a child process on loopback: for a club of one computer, for trying it out |
| `engine.py` | one connection to the engine (NATS JetStream), as much of it as a club needs: publish |
| `follower.py` | follows the stream: judges every frame of the club in its order |
| `hand_over.py` | what waits at a post to be handed to the hubs, bounded in octets and in age, and what became of it |
| `hub.py` | a hub of a club: follows the stream, judges all of it, and sends what goes up while it holds the lease |
| `hub_member.py` | a hub's part in its club, as the service sees it: what it follows is told on |
| `hubs.py` | which slices of the club's frames its hubs take now, as their beats say |
| `lease.py` | who of the hubs sends: one key of the engine, changed by compare-and-set alone |
| `lease_keeper.py` | carries out what a lease asks of the engine |
| `login.py` | two hubs with one login would take the network's connection from one another |
| `membership.py` | stays with the engine: one connection after the other, to each server in turn |
| `message.py` | a heard frame on its way from a post to the hubs, as one message of the stream: octets ↔ `Handed` |
| `options.py` | what a station file says of its club, as values |
| `order.py` | the order of the stream, and its elapsed time: the same for every hub, whenever it reads |
| `policy_entry.py` | the policy as an entry of the stream: its files with their names, and the judge that it is for |
| `post.py` | a post of a club: hands on to the hubs what its receivers hear |
| `posts.py` | what each post of the club is worth: when it last spoke, what it heard, what it alone heard |
| `sender.py` | one hub's sending: the lease and what waits to be sent |
| `slices.py` | which of a club's frames a hub takes: some of sixteen slices, into which frames fall by who sent them |
| `snapshot.py` | what a hub that starts must know: where in the stream, by which policy |
| `stream_clock.py` | what the engine's clock says, told from this computer's monotonic clock, and how surely |
| `stream_reader.py` | reads the stream in its order: an ephemeral consumer without acknowledgements |
| `subjects.py` | what everything of a club is called in the engine: subjects, the stream and its stores |
| `together.py` | runs what belongs together, and ends it surely |
| `trouble.py` | what ends a member of a club |
"""
