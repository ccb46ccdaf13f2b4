"""What other weights do to the order of the sites: which change rank, and by how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.values.columns import Columns
from siting.values.wording import counted
from siting.works.ranking import Ranking
from terrain.values.arrays import IntArray, read_only
from terrain.values.errors import ParameterError

#: Sites named in the sentences unless told otherwise.
MOST = 5


@dataclass(frozen=True, slots=True, eq=False)
class WeightsEffect:
    """Ranks of n sites by two sets of weights.

    Parameters
    ----------
    site_id
        Number of each site, shape ``(n,)``.
    rank_default, rank
        Rank by the weights of the package and by those in use, 1 for the first; shape ``(n,)``.
    """

    site_id: IntArray
    rank_default: IntArray
    rank: IntArray

    def __post_init__(self) -> None:
        for name in self.__slots__:
            read_only(getattr(self, name))

    @property
    def gain(self) -> IntArray:
        """Places that each site has gained; below 0 where it has lost some."""
        return self.rank_default - self.rank

    def columns(self) -> Columns:
        """Rows in the order of the ranks in use: ``site_id``, ``rank_default``, ``rank``."""
        order = np.argsort(self.rank, kind="stable")
        return {
            "site_id": self.site_id[order],
            "rank_default": self.rank_default[order],
            "rank": self.rank[order],
        }

    def sentences(self, *, most: int = MOST) -> tuple[str, ...]:
        """Say what changes, what matters most first.

        A change counts for more the nearer it is to the first place: a site that moves from third
        to first changes what is built, one that moves from 83rd to 81st does not. Changes are thus
        ordered by the change in 1 over rank, then by places moved, then by site.

        Parameters
        ----------
        most
            Most sites to name, 1 or more.

        Raises
        ------
        ParameterError
            ``most`` is below 1.
        """
        if most < 1:
            raise ParameterError(f"{most} sentences", expected="1 or more")
        moved = np.flatnonzero(self.gain != 0)
        if not moved.size:
            return ("These weights leave every site at its rank.",) if self.rank.size else ()
        weight = np.abs(1.0 / self.rank_default[moved] - 1.0 / self.rank[moved])
        order = np.lexsort((self.site_id[moved], -np.abs(self.gain[moved]), -weight))
        said = [
            f"These weights change the rank of {moved.size:,} of "
            f"{counted(self.rank.size, 'site')}, "
            f"by up to {counted(int(np.abs(self.gain).max()), 'place')}."
        ]
        for i in moved[order][:most]:
            gain = int(self.gain[i])
            said.append(
                f"Site {self.site_id[i]} {'rises' if gain > 0 else 'falls'} from rank "
                f"{self.rank_default[i]} to {self.rank[i]}."
            )
        if moved.size > most:
            said.append(f"{counted(moved.size - most, 'site')} more change rank.")
        return tuple(said)


def weights_effect(default: Ranking, used: Ranking) -> WeightsEffect:
    """Compare two rankings of the same sites, which are numbered from 1.

    Parameters
    ----------
    default
        By the weights that come with the package.
    used
        By the user's weights.

    Raises
    ------
    ParameterError
        They are of different numbers of sites.
    """
    if default.rank.size != used.rank.size:
        raise ParameterError(
            f"rankings of {default.rank.size} and {used.rank.size} sites",
            expected="two rankings of the same sites",
        )
    return WeightsEffect(
        site_id=np.arange(1, used.rank.size + 1),
        rank_default=default.rank.copy(),
        rank=used.rank.copy(),
    )
