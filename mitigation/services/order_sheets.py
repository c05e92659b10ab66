"""What an order tells a firm, gathered from the rows of its case."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from consult.letters.content import Addressee
from consult.models import Firm, MedicalDevice
from mitigation.calc.electrical_tests import practice_of
from mitigation.comparison import sealed_visits
from mitigation.comparison.works import spots_served
from mitigation.letters.order_facts import CircuitLine, OrderItem, OrderSheet
from mitigation.models import WorkItem, WorkOrder
from mitigation.services.letters import head_of
from surveys.models import Circuit
from surveys.services import facts


def order_sheet(order: WorkOrder, now: datetime) -> OrderSheet:
    """Everything that the sheet of an order prints, as the case stands."""
    case, home = order.case, order.case.property
    rows = items_of(order)
    named = {circuit.pk for row in rows for circuit in row.item.circuits.all()}
    return OrderSheet(
        number=order.number,
        case_reference=case.reference,
        firm=order.firm.name,
        place=home.address,
        country=home.country,
        supply_voltage_v=home.supply_voltage_v,
        frequency_hz=home.frequency_hz,
        phases=home.phases,
        practice=practice_of(home.supply_voltage_v),
        access=order.access,
        contact=order.contact,
        wished_days=order.wished_days,
        agreed_at=order.agreed_at,
        due_on=order.due_on,
        words=order.words,
        must_ask=MedicalDevice.objects.current().filter(property=home).exists(),
        dangers=tuple(_dangers(order, now)),
        items=tuple(_order_items(order, rows)),
        circuits=tuple(
            _circuit_line(circuit, is_named=circuit.pk in named)
            for circuit in Circuit.objects.at(home.pk).select_related("panel")
        ),
        documents=tuple(order.documents.order_by("pk").values_list("name", flat=True)),
    )


def items_of(order: WorkOrder) -> list[WorkItem]:
    """The items of an order with all that they name."""
    rows = order.items.select_related("item__remedy", "item__room")
    return list(rows.prefetch_related("item__circuits", "item__appliances", "item__spots__room"))


def firm_addressee(firm: Firm) -> Addressee:
    return Addressee(firm.name, firm.address, email=firm.email)


def _order_items(order: WorkOrder, rows: Sequence[WorkItem]) -> Iterable[OrderItem]:
    served = spots_served(order.case, [row.item for row in rows])
    for row in rows:
        item = row.item
        yield OrderItem(
            name=item.name,
            kind=item.remedy.name,
            sources=item.source_words(),
            room=item.room.name if item.room else "",
            spots=tuple(spot.name for spot in item.spots.all()),
            serves=served[item.pk],
            instructions=item.remedy.instructions,
            see_to=row.words,
        )


def _circuit_line(circuit: Circuit, *, is_named: bool) -> CircuitLine:
    return CircuitLine(
        panel=circuit.panel.name,
        name=circuit.name,
        label=circuit.label,
        phase=circuit.phase,
        rating_a=circuit.rating_a,
        rcd=circuit.rcd,
        is_named=is_named,
    )


def _dangers(order: WorkOrder, now: datetime) -> list[str]:
    head = head_of(order.case, None, "", "", now)
    return facts.safety_sentences(sealed_visits(order.case), order.firm.language, head)
