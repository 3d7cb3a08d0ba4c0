"""Where units break, as pages show it: the spots of a family, each made and spelled once for all pages that show it."""

from ..kb.resolve import Stated
from .page import Shared
from .photographs import shown as photographs
from .tables import FamilyTables, Site
from .texts import weight


class Damage:
    """The damage spots of all families."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self._spot = site.memo.kept(self._shown)

    def of(self, tables: FamilyTables, one: Stated | None) -> list[Shared]:
        """Those of a family; of a variant those in slots it has."""
        spots = tables.record.damage.items()
        return [self._spot(tables.ident, name) for name, spot in spots if one is None or tables.has(one, spot.slot)]

    def _shown(self, family: str, name: str) -> Shared:
        site, tables = self.site, self.site.families[family]
        spot = tables.record.damage[name]
        return Shared(
            {
                "name": spot.name,
                "view": tables.views[spot.view].name,
                "how_common": weight(spot.how_common),
                "found": spot.found,
                "mend": spot.mend,
                "grade": f"{spot.grade:g}".replace("-", "\N{MINUS SIGN}"),
                "invisible": spot.invisible,
                "procedure": site.link("procedure", spot.procedure) if spot.procedure else None,
                "photographs": photographs(site, spot.photographs),
            }
        )
