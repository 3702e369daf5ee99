"""Files that a visitor loads into a session: sorted by kind, and as evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from pwindow.inputs import InputFile
from pwindow.product import read_product
from pwindow.study import Study, read_study
from pwindow.surfaces import fit
from pwindow.trials import read_trial
from pwindow.workflows.evidence import UPLOADED, Evidence


@dataclass(frozen=True)
class Loaded:
    """Files that a visitor loaded, as they came.

    Attributes
    ----------
    trials : tuple of InputFile
    products : mapping of str to InputFile
        By the product's name.
    study : InputFile or None
    """

    trials: tuple[InputFile, ...] = ()
    products: Mapping[str, InputFile] = field(default_factory=lambda: MappingProxyType({}))
    study: InputFile | None = None

    @property
    def files(self) -> tuple[InputFile, ...]:
        study = () if self.study is None else (self.study,)
        return (*self.trials, *self.products.values(), *study)

    @property
    def size(self) -> int:
        """Bytes."""
        return sum(len(file.content) for file in self.files)

    def then(self, later: Loaded) -> Loaded:
        """With more that was loaded: a trial takes the place of the trial and of its study, products join."""
        before = self if not later.trials else Loaded(products=self.products)
        return Loaded(
            later.trials or before.trials,
            {**before.products, **later.products},
            later.study or before.study,
        )


def sort_files(files: Sequence[InputFile]) -> Loaded:
    """Sort files into trials, products and a study; raises UnusableInput where a product cannot be read."""
    declared = [file for file in files if file.name.lower().endswith(".toml")]
    products = [file for file in declared if b"[requirements" in file.content]
    studies = [file for file in declared if file not in products]
    return Loaded(
        tuple(file for file in files if file not in declared),
        {read_product(file).name: file for file in products},
        studies[-1] if studies else None,
    )


def loaded_evidence(files: Sequence[InputFile] | Loaded, before: Evidence) -> tuple[Evidence, str | None]:
    """Evidence with uploaded files in it: trials replace the trial, a product or study is added.

    Returns
    -------
    Evidence
    str or None
        Name of the product that was added last.

    Raises
    ------
    UnusableInput
        If any file cannot be used; `before` stands then.
    """
    loaded = files if isinstance(files, Loaded) else sort_files(files)
    surfaces, study = before.surfaces, before.study
    if loaded.trials:
        study = Study(ink=before.study.ink)
    if loaded.study is not None:
        study = read_study(loaded.study)
    trial = read_trial(loaded.trials, study) if loaded.trials else None
    if trial is None and surfaces is not None and study.make_readies != before.study.make_readies:
        trial = surfaces.trial
    if trial is not None:
        surfaces = fit(trial, before.terms, make_readies=study.make_readies)
    added = {name: read_product(file) for name, file in loaded.products.items()}
    products = {**before.products, **added}
    if trial is None:
        evidence = replace(before, study=study, products=products)
    else:
        source = UPLOADED if loaded.trials else before.source
        evidence = Evidence(
            surfaces=surfaces, study=study, products=products, terms=before.terms, source=source
        )
    return evidence, list(added)[-1] if added else None
