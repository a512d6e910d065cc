"""`stile setup`: asks in plain words, tries each answer at once, and writes a station file with what belongs to it.

Questions are data, and reading an answer is pure; what is tried is tried by the probes; nothing is written before the
last answer, and then all of it or nothing.

| file | holds |
| --- | --- |
| `answers.py` | what was answered so far |
| `answers_file.py` | answers from a file, where there is no terminal |
| `console.py` | a terminal: lines, and what is read without an echo |
| `dialogue.py` | goes through the questions: asks, reads, tries, asks again |
| `files.py` | what is to be written: the station file with its comments, secrets, the service's unit |
| `phone.py` | an address as a QR code, for a phone's camera |
| `places.py` | where the antenna is, as people write it, said back; what is usual on the air there |
| `questions.py` | the questions, in their order |
| `setup.py` | joins them: a folder in, files and the next steps out |
| `surroundings.py` | what is on this computer: decoders, serial devices, a broker, its address in the house |
| `trials.py` | tries one answer, and says what came of it |
| `writing.py` | writes all files or none, over nothing that is there |
"""
