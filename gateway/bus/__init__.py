"""The bus: everything heard, published to the MQTT broker in the house.

| file | holds |
| --- | --- |
| `adoption.py` | takes in the stations that the broker holds and that are not remembered here |
| `asyncapi.py` | the feed on the bus as an AsyncAPI 3.0 document: its channels |
| `bus.py` | the bus: takes what the house should see, without ever waiting |
| `connection.py` | one connection to the broker: paho's client, driven by the event loop |
| `conversation.py` | one short conversation with a broker, under a name of its own |
| `discovery.py` | what a home-automation hub is told so that it sets itself up: a message for the gateway |
| `discovery_topics.py` | which discovery messages the broker holds, and which of them must be written or cleared |
| `embedded.py` | a broker inside the process, on loopback, for who has none yet: `bus: {broker: embedded}` |
| `embedded_login.py` | by what the embedded broker knows the gateway |
| `embedded_rights.py` | who may do what at that broker: the gateway's topics are its own |
| `embedded_streams.py` | what that broker reads from its clients and writes to them, bounded for each and as a whole |
| `measures.py` | how a home-automation hub is to take each number: what it measures, in which unit |
| `options.py` | what the bus is told: which broker, as whom, and how much may wait for it |
| `outbox.py` | what waits for the broker: a bounded queue for each topic group, and what was shed from it |
| `packet_size.py` | how large a packet may be: what the broker may send to us, held before it costs memory |
| `publisher.py` | one connection's worth of publishing: greet the broker, learn what it holds |
| `repertoire.py` | what a listed station is known to send |
| `station_topics.py` | which stations' retained topics the broker holds |
| `topics.py` | the topics of one gateway, and what may stand in a topic at all |
| `trouble.py` | what went wrong with the broker, in words for the operator: never the broker's own text |
"""
