"""What is under way on a link that queues without limit: only receipts that came back renew the credit."""

from logger.core.credit import QUICK_US, Credit
from logger.core.layout import LINK_CREDIT, MAX_LIVE, PACKET_COST


class Draw:
    """Random bytes that are not: 1, 2, 3 and so on."""

    def __init__(self):
        self.drawn = 0

    def __call__(self, size):
        self.drawn += 1
        return bytes((self.drawn, 0, 0, 0))


def spend(credit, size):
    sent = 0
    while credit.allows(size):
        credit.sent(size)
        sent += size + PACKET_COST
    return sent


def test_small_packets_count_what_the_stack_needs_for_them():
    for size in (20, 244, 495):
        credit = Credit(True, Draw())

        sent = spend(credit, size)

        assert LINK_CREDIT - size - PACKET_COST < sent <= LINK_CREDIT


def test_only_a_receipt_that_was_asked_for_renews_the_credit():
    credit = Credit(True, Draw())
    credit.sent(1000)
    token = credit.ask(0)
    spend(credit, 244)
    assert not credit.allows(244)

    for wrong in (0, token + 1, 0xFFFFFFFF):
        assert not credit.came_back(wrong, 10)
    assert not credit.allows(244)
    assert credit.came_back(token, 10)
    assert credit.allows(1000)
    assert not credit.came_back(token, 10)


def test_a_later_receipt_stands_for_the_ones_before_it():
    credit = Credit(True, Draw())
    tokens = []
    for _ in range(3):
        credit.sent(500)
        tokens.append(credit.ask(0))
    credit.sent(100)

    assert credit.came_back(tokens[1], 10)
    assert spend(credit, 20) + 500 + 100 + 2 * PACKET_COST > LINK_CREDIT - 80
    assert not credit.came_back(tokens[0], 10)


def test_live_data_waits_for_a_receipt():
    credit = Credit(True, Draw())
    under_way = []
    while credit.may_live(244):
        credit.live(244)
        assert not credit.may_live(244)  # the packet is full, and no receipt behind it yet
        under_way.append(credit.ask(0))

    assert len(under_way) == MAX_LIVE
    assert credit.came_back(under_way[0], QUICK_US + 1)
    assert not credit.may_live(244)  # slow: one at a time
    assert credit.came_back(under_way[1], QUICK_US + 1)
    credit.live(10)
    token = credit.ask(0)
    assert not credit.may_live(244)
    assert credit.came_back(token, QUICK_US)
    credit.live(10)
    credit.ask(0)
    assert credit.may_live(244)


def test_a_lost_link_forgets_what_was_under_way():
    credit = Credit(True, Draw())
    token = credit.ask(0)
    spend(credit, 244)
    credit.clear()

    assert credit.allows(LINK_CREDIT - PACKET_COST)
    assert not credit.came_back(token, 10)


def test_a_cable_counts_nothing():
    credit = Credit(False, None)
    for _ in range(1000):
        credit.sent(256)
        credit.live(100)

    assert credit.allows(256)
    assert credit.may_live(1)
    assert not credit.receipt_due()


def test_a_receipt_is_asked_for_at_each_third_of_the_credit():
    """Less often, and the link stands still longer until one is back; more often, and they cost more than they gain."""
    credit = Credit(True, Draw())
    for _ in range(3):
        sent = 0
        while not credit.receipt_due():
            credit.sent(244)
            sent += 244 + PACKET_COST
        assert LINK_CREDIT // 3 <= sent < LINK_CREDIT // 3 + 244 + PACKET_COST
        assert credit.came_back(credit.ask(0), 10)
