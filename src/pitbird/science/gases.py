"""The gases of the trade: names, CAS numbers, and lower flammable limits on the two bases in use.

Limits are % vol in air at ordinary temperature and pressure, as the data files of the open library
``chemicals`` carry them: IEC 60079-20-1 (2010) and NFPA 497 (2008); a test makes the table again from that
library. The two bases part by up to a third on alkanes, so a value in %LFL means nothing without its basis.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Final

IEC: Final = "iec-60079-20-1"
NFPA: Final = "nfpa-497"
BASES: Final = (IEC, NFPA)
#: The edition whose limits stand here, by basis.
EDITIONS: Final = {IEC: "IEC 60079-20-1 (2010)", NFPA: "NFPA 497 (2008)"}


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas: its name, CAS number, other names, and LFL in % vol on both bases (None: not in that table)."""

    name: str
    cas: str
    other_names: tuple[str, ...]
    lfl_iec: str | None = None
    lfl_nfpa: str | None = None


GASES: Final[tuple[Gas, ...]] = (
    Gas("methane", "74-82-8", ("CH4",), "4.4", "5"),
    Gas("ethane", "74-84-0", ("C2H6",), "2.4", "3"),
    Gas("propane", "74-98-6", ("C3H8",), "1.7", "2.1"),
    Gas("n-butane", "106-97-8", ("butane",), "1.4", "1.9"),
    Gas("isobutane", "75-28-5", ("i-butane",), "1.3", "1.8"),
    Gas("n-pentane", "109-66-0", ("pentane",), "1.1", "1.5"),
    Gas("isopentane", "78-78-4", (), "1.3", "1.4"),
    Gas("n-hexane", "110-54-3", ("hexane",), "1", "1.1"),
    Gas("n-heptane", "142-82-5", ("heptane",), "0.85", "1"),
    Gas("n-octane", "111-65-9", ("octane",), "0.8", "1"),
    Gas("n-nonane", "111-84-2", ("nonane",), "0.7", "0.8"),
    Gas("hydrogen", "1333-74-0", ("H2",), "4", "4"),
    Gas("ammonia", "7664-41-7", ("NH3",), "15", "15"),
    Gas("carbon monoxide", "630-08-0", ("CO",), "10.9", "12.5"),
    Gas("hydrogen sulfide", "7783-06-4", ("hydrogen sulphide", "H2S"), "4", "4"),
    Gas("ethanol", "64-17-5", (), "3.1", "3.3"),
    Gas("methanol", "67-56-1", (), "6", "6"),
    Gas("acetone", "67-64-1", (), "2.5", "2.5"),
    Gas("2-butanone", "78-93-3", ("methyl ethyl ketone", "MEK"), "1.5", "1.4"),
    Gas("isopropanol", "67-63-0", ("2-propanol", "isopropyl alcohol"), "2", "2"),
    Gas("toluene", "108-88-3", (), "1", "1.1"),
    Gas("benzene", "71-43-2", (), "1.2", "1.2"),
    Gas("ethylene", "74-85-1", ("ethene", "C2H4"), "2.3", "2.7"),
    Gas("propylene", "115-07-1", ("propene", "C3H6"), "2", "2.4"),
    Gas("isobutylene", "115-11-7", ("isobutene",), "1.6", None),
    Gas("acetylene", "74-86-2", ("ethyne", "C2H2"), "2.3", "2.5"),
    Gas("hydrogen cyanide", "74-90-8", ("HCN",), "5.4", "5.6"),
    Gas("styrene", "100-42-5", (), "1", "0.9"),
    Gas("ethylene oxide", "75-21-8", ("oxirane",), "2.6", "3"),
    Gas("ethyl acetate", "141-78-6", (), "2", "2"),
    Gas("cyclohexane", "110-82-7", (), "1", "1.3"),
    Gas("n-decane", "124-18-5", ("decane",), "0.7", None),
    Gas("cyclopentane", "287-92-3", (), "1.4", None),
    Gas("1-butene", "106-98-9", ("but-1-ene",), "1.6", None),
    Gas("1,3-butadiene", "106-99-0", ("butadiene",), "1.4", "2"),
    Gas("ethylbenzene", "100-41-4", (), "0.8", "0.8"),
    Gas("o-xylene", "95-47-6", (), "1", None),
    Gas("m-xylene", "108-38-3", (), "1", None),
    Gas("p-xylene", "106-42-3", (), "0.9", None),
    Gas("1-propanol", "71-23-8", ("n-propanol",), "2.1", "2.2"),
    Gas("1-butanol", "71-36-3", ("n-butanol",), "1.4", "1.4"),
    Gas("4-methyl-2-pentanone", "108-10-1", ("methyl isobutyl ketone", "MIBK"), "1.2", None),
    Gas("diethyl ether", "60-29-7", ("ethyl ether",), "1.7", "1.9"),
    Gas("dimethyl ether", "115-10-6", (), "2.7", "3.4"),
    Gas("methyl tert-butyl ether", "1634-04-4", ("MTBE",), "1.5", "1.6"),
    Gas("tetrahydrofuran", "109-99-9", ("THF",), "1.5", "2"),
    Gas("propylene oxide", "75-56-9", (), "1.9", "2.3"),
    Gas("acetaldehyde", "75-07-0", (), "4", "4"),
    Gas("formaldehyde", "50-00-0", ("HCHO", "CH2O"), "7", "7"),
    Gas("methyl acetate", "79-20-9", (), "3.1", "3.1"),
    Gas("n-butyl acetate", "123-86-4", ("butyl acetate",), "1.2", "1.7"),
    Gas("acrylonitrile", "107-13-1", (), "2.8", "3"),
    Gas("methylamine", "74-89-5", (), "4.2", "4.9"),
    Gas("vinyl chloride", "75-01-4", ("chloroethene",), "3.6", "3.6"),
    Gas("methyl mercaptan", "74-93-1", ("methanethiol",), "4.1", "3.9"),
    Gas("tetrahydrothiophene", "110-01-0", ("THT",), "1.1", None),
    Gas("carbon disulfide", "75-15-0", ("carbon disulphide", "CS2"), "0.6", "1.3"),
    Gas("oxygen", "7782-44-7", ("O2",)),
    Gas("carbon dioxide", "124-38-9", ("CO2",)),
    Gas("sulfur dioxide", "7446-09-5", ("sulphur dioxide", "SO2")),
    Gas("nitrogen dioxide", "10102-44-0", ("NO2",)),
    Gas("nitric oxide", "10102-43-9", ("nitrogen monoxide", "NO")),
    Gas("chlorine", "7782-50-5", ("Cl2",)),
    Gas("nitrogen", "7727-37-9", ("N2",)),
    Gas("argon", "7440-37-1", ("Ar",)),
    Gas("helium", "7440-59-7", ("He",)),
    Gas("methyl bromide", "74-83-9", ("bromomethane",)),
    Gas("phosphine", "7803-51-2", ("PH3",)),
    Gas("arsine", "7784-42-1", ("AsH3",)),
    Gas("silane", "7803-62-5", ("SiH4",)),
    Gas("diborane", "19287-45-7", ("B2H6",)),
    Gas("chlorine dioxide", "10049-04-4", ("ClO2",)),
    Gas("ozone", "10028-15-6", ("O3",)),
    Gas("hydrogen chloride", "7647-01-0", ("HCl",)),
    Gas("hydrogen fluoride", "7664-39-3", ("HF",)),
    Gas("hydrogen bromide", "10035-10-6", ("HBr",)),
    Gas("fluorine", "7782-41-4", ("F2",)),
    Gas("bromine", "7726-95-6", ("Br2",)),
    Gas("phosgene", "75-44-5", ("carbonyl chloride", "COCl2")),
    Gas("nitrous oxide", "10024-97-2", ("N2O",)),
    Gas("sulfur hexafluoride", "2551-62-4", ("sulphur hexafluoride", "SF6")),
    Gas("neon", "7440-01-9", ("Ne",)),
    Gas("krypton", "7439-90-9", ("Kr",)),
    Gas("xenon", "7440-63-3", ("Xe",)),
    Gas("water", "7732-18-5", ("water vapour", "water vapor", "H2O")),
    Gas("air", "132259-10-0", ("synthetic air", "zero air")),
)

_BY_NAME: Final[dict[str, Gas]] = {
    name.lower(): gas for gas in GASES for name in (gas.name, gas.cas, *gas.other_names)
}


@lru_cache(maxsize=1024)
def gas_of(text: str) -> Gas | None:
    """The gas that a name, formula or CAS number stands for (case and outer spaces aside); None if not
    known."""
    return _BY_NAME.get(" ".join(text.split()).lower())


@lru_cache(maxsize=4096)
def same_gas(one: str, other: str) -> bool:
    """Whether two texts name the same gas; texts that are not known are compared as they stand, case
    aside."""
    first, second = gas_of(one), gas_of(other)
    if first is None and second is None:
        return " ".join(one.split()).lower() == " ".join(other.split()).lower()
    return first is second


def lfl_vol_pct(gas: str, basis: str) -> Decimal | None:
    """Lower flammable limit of a gas in air, % vol, on a basis (``iec-60079-20-1`` or ``nfpa-497``).

    None if the gas, or its limit on that basis, is not known; never a value from the other basis. Valid for
    the single gas in air at about 20 °C and 1.013 bar. Sources: IEC 60079-20-1:2010; NFPA 497:2008.
    """
    known = gas_of(gas)
    if known is None or basis not in BASES:
        return None
    value = known.lfl_iec if basis == IEC else known.lfl_nfpa
    return None if value is None else Decimal(value)
