"""Rooms, spots and ground points that a case folder names: those that are there, and new ones."""

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from consult.models import Property
from surveys.models import GroundPoint, Room, Spot
from surveys.models.names import folded
from surveys.services.row_keys import RowKeys


class BroughtPlaces:
    """The rooms, spots and ground points of a home: those that are there, and those that come.

    One that came in before is known by its key, also under another name; any other by its name.
    """

    def __init__(self, home: Property, keys: RowKeys) -> None:
        self.home, self.keys = home, keys

    def spots(self, spots: Sequence[tuple[str, str, str]], used: Collection[int]) -> dict[int, int]:
        """The key of each used spot, by its place among the folder's."""
        names = dict.fromkeys(spots[place][0] for place in sorted(used))
        rooms = _by_either(Room.objects.filter(property=self.home), "folded")
        uids = {name: self.keys.of("room", folded(name)) for name in names}
        room_of = {name: rooms.get(uid) or rooms.get(folded(name)) for name, uid in uids.items()}
        created = Room.objects.bulk_create(
            Room(property=self.home, name=name, uid=uids[name])
            for name, room in room_of.items()
            if room is None
        )
        room_of |= {room.name: room for room in created}
        spots_at_home: dict[Any, Spot] = {}
        for row in Spot.objects.filter(room__property=self.home):
            spots_at_home[row.uid] = spots_at_home[row.room_id, row.folded] = row
        known_spots: dict[int, Spot] = {}
        new: dict[int, Spot] = {}
        for place in sorted(used):
            room_name, name, use = spots[place]
            room, uid = room_of[room_name], self.keys.of("spot", folded(room_name), folded(name))
            assert room is not None
            spot = spots_at_home.get(uid) or spots_at_home.get((room.pk, folded(name)))
            if spot is None:
                new[place] = Spot(room=room, name=name, use=use, uid=uid)
            else:
                known_spots[place] = spot
        stored = dict(zip(new, Spot.objects.bulk_create(new.values()), strict=True))
        return {place: row.pk for place, row in (known_spots | stored).items()}

    def ground_points(self, names: Iterable[str]) -> dict[str, int]:
        """The keys of the ground points by name."""
        points = _by_either(GroundPoint.objects.filter(property=self.home), "name")
        uids = {name: self.keys.of("ground point", name) for name in dict.fromkeys(names)}
        point_of = {name: points.get(uid) or points.get(name) for name, uid in uids.items()}
        created = GroundPoint.objects.bulk_create(
            GroundPoint(property=self.home, name=name, uid=uids[name])
            for name, point in point_of.items()
            if point is None
        )
        stored = {name: point.pk for name, point in point_of.items() if point is not None}
        return stored | {point.name: point.pk for point in created}


def _by_either(rows: Iterable[Any], name: str) -> dict[Any, Any]:
    """Rows by their key from outside and by a field."""
    rows_by_key: dict[Any, Any] = {}
    for row in rows:
        rows_by_key[row.uid] = rows_by_key[getattr(row, name)] = row
    return rows_by_key
