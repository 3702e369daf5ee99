"""Whether lines whose tops are rounded on the plate print double ridges more often than flat ones.

Every print shows the same plate features again, so that these are the independent unit: the shares of their printed lines
with two ridges or more are compared by ranks (Mann & Whitney 1947, Annals of Mathematical Statistics 18, 50-60).
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from scipy.stats import mannwhitneyu

from pwindow.trials.trial import Trial
from pwindow.wording import counted

_TOPS = ("rounded", "flat")
_NAMED = ["plate_id", "plate_feature"]
_FEWEST = 3
"""Plate features of each top, of which fewer tell nothing: two and two differ by chance in a third of all cases."""
_SURE = 0.95


@dataclass(frozen=True, kw_only=True)
class DoubleRidges:
    """Printed lines with two ridges or more, by the top of their line on the plate.

    Attributes
    ----------
    by_top : DataFrame
        Indexed by ``rounded`` and ``flat``, where there are such: plate ``features``, printed ``lines``, and how many of
        these are ``double``.
    p : float
        Probability that plate features differ so by chance; NaN where they are too few.
    """

    by_top: pd.DataFrame
    p: float

    @property
    def sentence(self) -> str:
        """In words."""
        said = [
            f"{row.double:.0f} of {counted(int(row.lines), 'printed line', 'printed lines')} from plate lines with {top} tops have two ridges or more"
            for top, row in self.by_top.iterrows()
        ]
        if len(said) < len(_TOPS):
            return f"{said[0]}; no lines with tops of the other kind were printed"
        if self.p != self.p:
            return f"{'; '.join(said)}; too few plate lines to tell whether the tops make the difference"
        told = (
            "a difference that chance would rarely make"
            if self.p < 1.0 - _SURE
            else "a difference that may be chance"
        )
        features = counted(int(self.by_top["features"].sum()), "plate line", "plate lines")
        return f"{'; '.join(said)}; {told} ({features}, p {self.p:.2g})"


def double_ridges(trial: Trial) -> DoubleRidges | None:
    """Double ridges by the top of lines on the plate; None where prints say no ridges, or plates no tops.

    Parameters
    ----------
    trial : Trial
        Whose lines say how many ``ridges`` they have and which feature of which plate they are of.
    """
    tops = trial.plates.features["top"].str.strip().str.lower()
    tops = tops[tops.isin(_TOPS)]
    lines = trial.features.loc[trial.features["ridges"].notna(), [*_NAMED, "ridges"]]
    lines = lines.join(tops.rename("top"), on=_NAMED, how="inner")
    if lines.empty:
        return None
    lines = lines.assign(double=lines["ridges"].astype(float) > 1.0)
    of_feature = lines.groupby(["top", *_NAMED])["double"].agg(["mean", "sum", "size"])
    groups = of_feature.groupby("top")
    by_top = pd.DataFrame(
        {"features": groups.size(), "lines": groups["size"].sum(), "double": groups["sum"].sum()}
    )
    by_top = by_top.reindex([top for top in _TOPS if top in by_top.index])
    p = float("nan")
    if len(by_top) == len(_TOPS) and by_top["features"].min() >= _FEWEST:
        shares = [of_feature["mean"].xs(top, level="top").to_numpy(float) for top in _TOPS]
        p = float(mannwhitneyu(*shares).pvalue)
    return DoubleRidges(by_top=by_top, p=p)
