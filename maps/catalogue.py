"""A language: its messages, and how it writes numbers, days, lists and amounts.

The messages are a TOML file (`maps.language_file`); numbers, names of months and plural forms are
those of the Unicode CLDR, by Babel. Whatever is shown takes its language as an argument.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Literal

from babel import Locale
from babel.numbers import format_decimal

from data.settings import Units
from spatial.units import FOOT_M, M2_PER_ACRE, M2_PER_HA

Message = str | Mapping[str, str]
"""A sentence; or one for each plural form of the language (`PLURALS`)."""

PLURALS = ("zero", "one", "two", "few", "many", "other")
"""Plural forms of the Unicode CLDR."""

_FRACTION = re.compile(r"\.[#0]+")


@dataclass(frozen=True, slots=True)
class Catalogue:
    """A language.

    Parameters
    ----------
    locale
        Rules of numbers, months, plurals and direction.
    messages
        Key, such as ``"found.above"``, -> message.
    file, digest
        Name and SHA-256 of the user's own file; blank for the language that ships.
    left_out
        Keys of the messages that the file leaves out, so that they stand in English.
    """

    locale: Locale
    messages: Mapping[str, Message]
    file: str = ""
    digest: str = ""
    left_out: tuple[str, ...] = ()

    @property
    def tag(self) -> str:
        """Language tag (BCP 47), as pages and documents name it."""
        return str(self.locale).replace("_", "-")

    @property
    def direction(self) -> Literal["ltr", "rtl"]:
        """Way of writing: left to right, or right to left."""
        return "rtl" if self.locale.text_direction == "rtl" else "ltr"

    def texts(self) -> list[str]:
        """Return every text of the language, each plural form by itself."""
        return [
            text
            for message in self.messages.values()
            for text in ([message] if isinstance(message, str) else message.values())
        ]

    def say(
        self, key: str, number: int | Decimal | None = None, /, **values: int | Decimal | str
    ) -> str:
        """Return a message.

        Parameters
        ----------
        key
            What is said.
        number
            How many things it is about; shown as `{number}`, and it chooses the plural form.
        values
            What else is filled in; numbers are written as the language writes them.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().say("unknown.no_nights", 1), english().say("unknown.no_nights", 1200)
        ('1 zone has traps but no count yet.', '1,200 zones have traps but no count yet.')
        """
        message = self.messages[key]
        if not isinstance(message, str):
            form = self.locale.plural_form(0 if number is None else number)
            message = message.get(form, message["other"])
        given = values if number is None else {"number": number, **values}
        shown = {
            name: value if isinstance(value, str) else self.number(value)
            for name, value in given.items()
        }
        return message.format(**shown)

    def number(self, number: int | Decimal) -> str:
        """Return a number with the decimals that it has.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().number(1234), english().number(Decimal("1234.50"))
        ('1,234', '1,234.50')
        """
        value = Decimal(number)
        exponent = value.as_tuple().exponent
        digits = max(-exponent, 0) if isinstance(exponent, int) else 0
        return _written(value, digits, self.locale)

    def decimal(self, number: float, digits: int) -> str:
        """Return a number rounded to so many decimals.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().decimal(1234.5, 1), english().decimal(-0.01, 0)
        ('1,234.5', '0')
        """
        return self.number(rounded(number, digits))

    def figure(self, number: float, digits: int = 6) -> str:
        """Return a number, such as one that a user gave, with the digits that it needs.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().figure(4.0), english().figure(0.25), english().figure(123.4, 2)
        ('4', '0.25', '120')
        """
        return self.number(figure(number, digits))

    def percent(self, share: float, digits: int = 0, *, signed: bool = False) -> str:
        """Return a share in per cent; a change may carry its sign.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().percent(0.254), english().percent(-0.001), english().percent(-0.75)
        ('25 %', '0 %', '-75 %')
        >>> english().percent(0.03, signed=True)
        '+3 %'
        """
        value = rounded(100 * share, digits)
        return self.say(f"numbers.{'percent_more' if signed and value >= 0 else 'percent'}", value)

    def chance(self, chance: float) -> str:
        """Return a chance in per cent; never 0 or 100, which nothing sampled can have.

        Examples
        --------
        >>> from maps.language_file import english
        >>> [english().chance(each) for each in (0.912, 0.9997, 0.001, 0.045)]
        ['91 %', 'over 99 %', 'under 1 %', '4.5 %']
        """
        if math.isnan(chance):
            return self.say("numbers.chance_unknown")
        if chance > 0.99:
            return self.say("numbers.chance_over", percent=self.percent(0.99))
        if chance < 0.01:
            return self.say("numbers.chance_under", percent=self.percent(0.01))
        per_cent = 100 * chance
        return self.percent(chance, 1 if per_cent < 10 and per_cent % 1 > 1e-9 else 0)

    def rate(self, rate: float) -> str:
        """Return a catch rate with the digits it deserves.

        Examples
        --------
        >>> from maps.language_file import english
        >>> [english().rate(each) for each in (0.0, 0.346, 4.72, 23.4, math.nan, 0.004)]
        ['0', '0.35', '4.7', '23', 'no rate', 'under 0.01']
        """
        if math.isnan(rate):
            return self.say("numbers.no_rate")
        if rate == 0:
            return self.number(0)
        if rate < 0.005:
            return self.say("numbers.rate_under", Decimal("0.01"))
        return self.decimal(rate, 2 if rate < 1 else 1 if rate < 10 else 0)

    def rates(self, low: float, high: float) -> str:
        """Return the ends of an interval of catch rates; blank when there is none.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().rates(0.42, 12.3), english().rates(math.nan, math.nan)
        ('0.42 to 12', '')
        """
        if math.isnan(low) or math.isnan(high):
            return ""
        return self.say("numbers.range", low=self.rate(low), high=self.rate(high))

    def p_value(self, p: float) -> str:
        """Return a p value, with its sign.

        Examples
        --------
        >>> from maps.language_file import english
        >>> [english().p_value(each) for each in (0.0002, 0.0341, 0.62, 0.00001)]
        ['p = 0.0002', 'p = 0.034', 'p = 0.62', 'p < 0.0001']
        """
        if p < 0.0001:
            return self.say("numbers.p_under", Decimal("0.0001"))
        return self.say("numbers.p", rounded(p, 4 if p < 0.001 else 3 if p < 0.1 else 2))

    def day(self, day: date) -> str:
        """Return a date.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().day(date(2026, 5, 31))
        '31 May 2026'
        """
        return self.say(
            "dates.day", day=str(day.day), month=self._month(day.month), year=str(day.year)
        )

    def month_day(self, month_day: str) -> str:
        """Return a day of every year.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().month_day("05-15")
        '15 May'
        """
        month, day = map(int, month_day.split("-"))
        return self.say("dates.month_day", day=str(day), month=self._month(month))

    def short_day(self, day: date) -> str:
        """Return a day of the year in hand, its month cut short.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().short_day(date(2026, 5, 31)), english().short_day(date(2026, 9, 1))
        ('31 May', '1 Sep')
        """
        month = str(self.locale.months["format"]["abbreviated"][day.month])
        return self.say("dates.short_day", day=str(day.day), month=month)

    def span(self, first: date, last: date) -> str:
        """Return two days as prose, what they share said once.

        Examples
        --------
        >>> from maps.language_file import english
        >>> [english().span(date(2026, 5, 4), date(*last)) for last in ((2026, 5, 6), (2026, 6, 3))]
        ['4 to 6 May 2026', '4 May to 3 June 2026']
        >>> english().span(date(2025, 12, 30), date(2026, 1, 2))
        '30 December 2025 to 2 January 2026'
        """
        if first == last:
            return self.day(first)
        if first.year != last.year:
            return self.say("dates.span", first=self.day(first), last=self.day(last))
        days = {"first_day": str(first.day), "last_day": str(last.day), "year": str(last.year)}
        months = [self._month(each.month) for each in (first, last)]
        if first.month == last.month:
            return self.say("dates.same_month", **days, month=months[0])
        return self.say("dates.same_year", **days, first_month=months[0], last_month=months[1])

    def month(self, day: date) -> str:
        """Return the name of a day's month as it stands alone.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().month(date(2026, 5, 31)), english().short_month(date(2026, 2, 1))
        ('May', 'Feb')
        """
        return str(self.locale.months["stand-alone"]["wide"][day.month])

    def short_month(self, day: date) -> str:
        """Return the short name of a day's month as it stands alone."""
        return str(self.locale.months["stand-alone"]["abbreviated"][day.month])

    def _month(self, month: int) -> str:
        return str(self.locale.months["format"]["wide"][month])

    def listed(self, items: Sequence[str], most: int = 6) -> str:
        """Return a list as prose; what goes beyond `most` is counted.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().listed(["H01", "H02", "H03"]), english().listed(["a", "b", "c", "d"], 2)
        ('H01, H02 and H03', 'a, b and 2 more')
        """
        if len(items) > most:
            return self.say("list.more", len(items) - most, items=self.joined(items[:most]))
        return self._ended(items, "list.last")

    def either(self, items: Sequence[str]) -> str:
        """Return a list of which one is meant, or none.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().either(["water", "bees", "players"])
        'water, bees or players'
        """
        return self._ended(items, "list.either")

    def _ended(self, items: Sequence[str], last: str) -> str:
        if len(items) < 2:
            return "".join(items)
        return self.say(last, items=self.joined(items[:-1]), item=items[-1])

    def joined(self, items: Sequence[str], sign: Literal["between", "apart"] = "between") -> str:
        """Return items one after the other, the last like the rest; `apart` if they hold commas.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().joined(["a", "b", "c"]), english().joined(["a, b", "c"], "apart")
        ('a, b, c', 'a, b; c')
        """
        text = "".join(items[:1])
        for item in items[1:]:
            text = self.say(f"list.{sign}", items=text, item=item)
        return text

    def area(self, area_ha: float, units: Units) -> str:
        """Return an area in the site's units.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().area(0.40468564224, "us"), english().area(1234.56, "metric")
        ('1.0 acres', '1,234.6 ha')
        """
        key, value = (
            ("acres", area_ha * M2_PER_HA / M2_PER_ACRE) if units == "us" else ("hectares", area_ha)
        )
        return self.say(f"numbers.{key}", rounded(value, 2 if value < 0.95 else 1))

    def distance(self, distance_m: float, units: Units) -> str:
        """Return a distance in the site's units.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().distance(30.48, "us"), english().distance(30.48, "metric")
        ('100 ft', '30 m')
        """
        key, value = ("feet", distance_m / FOOT_M) if units == "us" else ("metres", distance_m)
        return self.say(f"numbers.{key}", rounded(value, 0))

    def money(self, amount: float, currency: str) -> str:
        """Return money, to whole units from 100.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().money(1234.4, "$"), english().money(12.5, "EUR"), english().money(3, "")
        ('$1,234', 'EUR 12.50', '3.00')
        """
        key = "money_word" if currency[-1:].isalpha() else "money_sign"
        number = rounded(amount, 0 if amount >= 100 else 2)
        return self.say(f"numbers.{key}", number, currency=currency).strip()

    def use(self, use: str) -> str:
        """Return a zone's use as it is read; one that has no message stands as it is.

        Examples
        --------
        >>> from maps.language_file import english
        >>> english().use("sod_block"), english().use("putting_course")
        ('sod block', 'putting course')
        """
        plain = use.replace("_", " ")
        key = f"uses.{plain.replace(' ', '_')}"
        return self.say(key) if key in self.messages else plain


@lru_cache(maxsize=1 << 15)
def _written(value: Decimal, digits: int, locale: Locale) -> str:
    """Return a number as a locale writes it; a map says the same few thousands again and again."""
    usual = locale.decimal_formats[None].pattern
    pattern = _FRACTION.sub(f".{'0' * digits}" if digits else "", usual)
    return format_decimal(value, format=pattern, locale=locale)


def rounded(number: float, digits: int) -> Decimal:
    """Return a number with so many decimals; nothing below zero is called minus zero.

    Examples
    --------
    >>> rounded(2.5, 2), rounded(-0.001, 0)
    (Decimal('2.50'), Decimal('0'))
    """
    return Decimal(f"{number:z.{digits}f}")


def figure(number: float, digits: int = 6) -> Decimal:
    """Return a number to so many digits, without noughts that say nothing.

    Examples
    --------
    >>> figure(4.0), figure(0.25), figure(0.2549, 2)
    (Decimal('4'), Decimal('0.25'), Decimal('0.25'))
    """
    return Decimal(f"{number:.{digits}g}")
