"""Where each defence of `gateway/README.md` stands, and what its place becomes when it is taken away."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Defence:
    """A few lines of one file, and the test that misses them."""

    test: str
    place: str
    """The test's file."""

    file: str
    stands: str
    becomes: str


DEFENCES = (
    Defence(
        "test_information_is_cut_at_its_first_line_end",
        "tests/frames/test_tnc2.py",
        "gateway/frames/tnc2.py",
        "        return _LINE_END.split(information, maxsplit=1)[0]\n",
        "        return information\n",
    ),
    Defence(
        "test_a_frame_without_end_is_not_kept",
        "tests/frames/test_kiss.py",
        "gateway/frames/delimited.py",
        "        if len(pieces[-1]) > self._limit:\n",
        "        if False:\n",
    ),
    Defence(
        "test_kiss_streams",
        "tests/frames/test_hostile_bytes.py",
        "gateway/frames/kiss.py",
        "            if octets is None:\n",
        "            if octets is ...:\n",
    ),
    Defence(
        "test_on_a_terminal_nothing_breaks_out_of_its_line_or_moves_the_cursor",
        "tests/groundwork/test_log.py",
        "gateway/groundwork/log.py",
        "printable(value, MAXIMUM_VALUE) if isinstance(value, str) else value for key",
        "value for key",
    ),
    Defence(
        "test_the_datagrams_of_others_are_counted_and_passed_over",
        "tests/receivers/test_udp.py",
        "gateway/receivers/udp.py",
        "            verdict = any(sender in network for network in self._allowed)\n",
        "            verdict = sender is not None\n",
    ),
    Defence(
        "test_a_frame_that_cannot_be_judged_harms_no_other",
        "tests/test_life_and_death.py",
        "gateway/running/service.py",
        "except Exception as error:  # noqa: BLE001 - one frame of which we know",
        "except UnicodeError as error:  #",
    ),
    Defence(
        "test_the_last_remark_of_a_server_is_kept_printable_and_cut",
        "tests/uplink/test_session.py",
        "gateway/uplink/session.py",
        '    return "".join(chr(octet) if 0x20 <= octet < 0x7F else "?" for octet in shown)',
        '    return shown.decode("latin-1")',
    ),
    Defence(
        "test_a_server_that_missed_two_heartbeats_is_mute_until_any_octet_comes",
        "tests/uplink/test_session.py",
        "gateway/uplink/session.py",
        "now_ms - last_ms > BEATS_MISSED * beat_ms",
        "False",
    ),
    Defence(
        "test_a_line_is_never_sent_twice_however_often_the_connection_breaks",
        "tests/uplink/test_client.py",
        "gateway/uplink/outbox.py",
        "            departure = waiting.popleft()\n            taken.append(departure)\n",
        "            departure = waiting.popleft()\n            waiting.append(departure) if total == 0 else None\n"
        "            taken.append(departure)\n",
    ),
    Defence(
        "test_what_is_no_answer_to_us_verifies_nothing",
        "tests/uplink/test_session.py",
        "gateway/uplink/session.py",
        'if answer is None or answer[1].upper() != self._login.callsign.upper().encode("ascii"):',
        "if answer is None:",
    ),
    Defence(
        "test_a_page_of_another_origin_may_not_ask",
        "tests/web/test_guard.py",
        "gateway/web/guard.py",
        "        self._check_site(request)\n        if",
        "        if",
    ),
    Defence(
        "test_by_any_other_name_it_is_not_known",
        "tests/web/test_guard.py",
        "gateway/web/guard.py",
        "        self._check_host(request)\n        self",
        "        self",
    ),
    Defence(
        "test_who_shows_wrong_tokens_must_wait_while_a_session_goes_on_and_it_is_logged_once",
        "tests/web/test_guard.py",
        "gateway/web/guard.py",
        "        if pause_ms:\n",
        "        if False:\n",
    ),
    Defence(
        "test_every_answer_is_fenced_in",
        "tests/web/test_server.py",
        "gateway/web/guard.py",
        " require-trusted-types-for 'script'; trusted-types 'none'",
        "",
    ),
    Defence(
        "test_text_from_the_air_is_text_in_an_svg",
        "tests/glance/test_layout.py",
        "gateway/glance/svg.py",
        "{escape(text.text)}",
        "{text.text}",
    ),
    Defence(
        "test_clients_who_connect_and_say_nothing_keep_nobody_out",
        "tests/web/test_server.py",
        "gateway/web/places.py",
        "            leaving = next((each for each, of in self._silent.items() if of == address), holder)\n",
        "            leaving = holder\n",
    ),
    Defence(
        "test_a_client_that_does_not_read_is_dropped_and_the_others_lose_nothing",
        "tests/lines/test_server.py",
        "gateway/lines/client.py",
        "        return transport.get_write_buffer_size() <= self._limit\n",
        "        return True\n",
    ),
    Defence(
        "test_the_same_is_said_once_a_minute_with_how_often_it_came_before",
        "tests/running/test_loop_faults.py",
        "gateway/running/loop_faults.py",
        '        if now - self._said_at.get(what, float("-inf")) < SAY_SECONDS:\n',
        "        if False:\n",
    ),
    Defence(
        "test_only_the_gateway_writes_to_its_topics_and_everybody_may_read_them",
        "tests/bus/test_embedded_rights.py",
        "gateway/bus/embedded_rights.py",
        "        if self._is_kept(topic):\n            return False\n",
        "",
    ),
    Defence(
        "test_slow_readers_together_hold_no_more_than_is_allowed",
        "tests/bus/test_embedded_rights.py",
        "gateway/bus/embedded_streams.py",
        "            self._clients.make_room(len(data))\n",
        "            pass\n",
    ),
    Defence(
        "test_a_large_packet_ends_the_connection_before_it_is_read",
        "tests/bus/test_packet_size.py",
        "gateway/bus/packet_size.py",
        "        if self._length > MAXIMUM_PACKET_OCTETS:\n",
        "        if False:\n",
    ),
    Defence(
        "test_a_broker_that_talks_nonsense_ends_nothing_but_its_connection",
        "tests/bus/test_connection.py",
        "gateway/bus/bus.py",
        "        except* BrokerError as errors:\n",
        "        except* ZeroDivisionError as errors:\n",
    ),
    Defence(
        "test_a_broker_that_shows_a_trusted_certificate_of_another_host_is_told_nothing",
        "tests/bus/test_tls.py",
        "gateway/bus/connection.py",
        "            client.tls_set_context(options.tls.context())\n",
        "            client.tls_set_context(options.tls.context())\n            client.tls_insecure_set(True)\n",
    ),
    Defence(
        "test_aliases_of_aliases_of_aliases_are_an_error_before_they_fill_the_memory",
        "tests/documents/test_reading.py",
        "gateway/documents/reading.py",
        "        self._weigh(event, anchored.values, anchored.characters)\n",
        "",
    ),
    Defence(
        "test_a_policy_on_a_disk_that_hangs_is_shown_refused_and_read_again_later",
        "tests/test_life_and_death.py",
        "gateway/running/policy_in_force.py",
        "            async with asyncio.timeout(LONGEST_READING_SECONDS):\n",
        "            async with asyncio.timeout(None):\n",
    ),
    Defence(
        "test_a_bomb_is_refused_before_it_has_cost_much",
        "tests/groundwork/test_expanding.py",
        "gateway/groundwork/expanding.py",
        "            if octets > max(UNSUSPICIOUS_OCTETS, MOST_EXPANSION * source.octets):\n",
        "            if False:\n",
    ),
    Defence(
        "test_what_is_no_file_is_refused_and_not_waited_for",
        "tests/journal/test_strangers.py",
        "gateway/journal/reading.py",
        "    if not path.is_file():  # a pipe would be waited for without end\n",
        "    if False:\n",
    ),
    Defence(
        "test_what_else_a_stranger_defines_is_never_asked",
        "tests/journal/test_strangers.py",
        "gateway/journal/reading.py",
        '    if [(kind, bool(page)) for kind, page in tables] != [(b"table", True)]:  # a virtual table has no page\n',
        "    if not tables:\n",
    ),
    Defence(
        "test_a_secret_in_the_place_of_a_file_name_is_not_repeated",
        "tests/settings/test_secret.py",
        "gateway/settings/secret.py",
        "    return str(path) if is_one else ",
        "    return str(path) if True else ",
    ),
    Defence(
        "test_journal_and_captures_are_private_while_they_are_written_and_afterwards",
        "tests/journal/test_private_files.py",
        "gateway/groundwork/private_files.py",
        "FILE_MODE = 0o600\n",
        "FILE_MODE = 0o644\n",
    ),
    Defence(
        "test_a_pipe_that_nobody_empties_holds_nothing_up",
        "tests/test_log_of_run.py",
        "gateway/groundwork/log_writer.py",
        "            self._changed.notify_all()\n\n    def flush(self)",
        "        _try_to_write(self._descriptor, line)\n\n    def flush(self)",
    ),
    Defence(
        "test_a_second_gateway_with_the_same_station_file_or_journal_is_refused",
        "tests/test_life_and_death.py",
        "gateway/running/lock.py",
        "        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)\n",
        "        pass\n",
    ),
    Defence(
        "test_after_a_restart_everything_is_known_and_nothing_goes_up_again",
        "tests/test_killed.py",
        "gateway/running/service.py",
        "            memories.insert(0, JudgeMemory(self._policy.judge))\n",
        "            pass\n",
    ),
    Defence(
        "test_whatever_is_taken_in_nothing_is_raised_and_it_can_be_used_afterwards",
        "tests/test_memories.py",
        "gateway/judge/memory.py",
        "        except (ValueError, binascii.Error):\n",
        "        except UnicodeEncodeError:\n",
    ),
    Defence(
        "test_nothing_goes_twice_or_late_and_sums_add_up_in_every_sequence_of_events",
        "tests/uplink/test_crossing.py",
        "gateway/uplink/crossing.py",
        '            connection.end(f"the server acknowledged',
        '            str(f"the server acknowledged',
    ),
    Defence(
        "test_a_placeholder_in_two_pairs_of_braces_is_told_and_not_tripped_over",
        "tests/documents/test_reading.py",
        "gateway/documents/reading.py",
        " and isinstance(key, yaml.ScalarEvent)",
        "",
    ),
    Defence(
        "test_a_post_may_write_its_own_subjects_and_nothing_else",
        "tests/club/test_accounts.py",
        "gateway/club/README.md",
        '          "stile.wrackholm.post.headland.>",\n',
        '          "stile.wrackholm.>",\n',
    ),
    Defence(
        "test_the_time_counts_from_the_beginning_of_the_write_not_from_its_answer",
        "tests/club/test_lease.py",
        "gateway/club/lease.py",
        "now_ms < self.good_until_ms",
        "True",
    ),
    Defence(
        "test_of_twenty_thousand_stations_no_more_than_a_piece_is_looked_at_at_a_time",
        "tests/test_dumps_in_pieces.py",
        "gateway/feed/stations.py",
        "        for sources in self._shelves.pieces():\n",
        "        for sources in [list(self._stations)]:\n",
    ),
    Defence(
        "test_no_text_overflows_its_room_and_no_room_the_screen",
        "tests/glance/test_layout.py",
        "gateway/glance/lettering.py",
        "    return cut(text, room, size), size\n",
        "    return text, size\n",
    ),
    Defence(
        "test_whatever_comes_is_read_or_refused",
        "tests/club/test_message.py",
        "gateway/club/message.py",
        "    if not _HEAD.size < len(octets) <= MAXIMUM_OCTETS:\n",
        "    if False:\n",
    ),
    Defence(
        "test_it_is_shut_in_as_far_as_its_work_allows",
        "tests/running/test_service_unit.py",
        "gateway/stile.service",
        "CapabilityBoundingSet=\n",
        "",
    ),
    Defence(
        "test_a_secret_is_on_a_volume_that_its_own_container_alone_reads",
        "tests/docker/test_compose.py",
        "docker/compose.yaml",
        "      - broker-secrets:/run/secrets:ro\n",
        "      - gateway-secrets:/run/secrets:ro\n",
    ),
    Defence(
        "test_the_house_reads_and_writes_nothing_of_the_gateways",
        "tests/docker/test_set_up.py",
        "docker/set_up.py",
        "topic read stile/#\n",
        "topic readwrite stile/#\n",
    ),
)
