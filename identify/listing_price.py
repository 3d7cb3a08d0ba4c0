"""What a seller asks: prices, shipping, and both together. Whether it is a fair price is not judged here."""

from collections.abc import Sequence
from typing import Any

from .claims import Claim
from .wording import together


def asked(claims: Sequence[Claim]) -> dict[str, Any]:
    """prices: each with its place in the row of claims, lowest and highest amount and currency; shipping; what both come to."""
    prices = [_amount(n, claim.says[0]) for n, claim in enumerate(claims) if claim.kind == "price"]
    words = [claim.says[0] for claim in claims if claim.kind == "shipping"]
    shipping = _shipping(words[0]) if words else None
    total = _total(prices, shipping)
    return {"prices": prices, "shipping": shipping, "total": total, "says": _says(prices, shipping, total)}


def _amount(n: int, says: str) -> dict[str, Any]:
    amount, _, currency = says.partition(" ")
    low, _, high = amount.partition("..")
    return {"claim": n, "low": float(low), "high": float(high or low), "currency": currency}


def _shipping(says: str) -> dict[str, Any]:
    """An amount where one is said, and a word for how it is settled."""
    if says[:1].isdigit():
        amount = _amount(0, says)
        return {"how": "amount", "amount": amount["low"], "currency": amount["currency"]}
    return {"how": says, "amount": 0.0 if says == "free" else None, "currency": None}


def _total(prices: Sequence[dict[str, Any]], shipping: dict[str, Any] | None) -> dict[str, Any] | None:
    """Price and shipping, where there is one price and the shipping is said as an amount of the same currency, or is free."""
    if len(prices) != 1 or shipping is None or shipping["amount"] is None:
        return None
    (price,) = prices
    if shipping["currency"] not in (None, price["currency"]):
        return None
    return {"low": price["low"] + shipping["amount"], "high": price["high"] + shipping["amount"], "currency": price["currency"]}


HOW = {"free": "shipping is included", "buyer-pays": "shipping comes on top, how much is not said", "pickup": "it is not shipped"}


def _says(prices: Sequence[dict[str, Any]], shipping: dict[str, Any] | None, total: dict[str, Any] | None) -> str:
    ship = "nothing is said of shipping"
    if shipping is not None:
        ship = HOW.get(shipping["how"]) or f"{_money(shipping['amount'], shipping['amount'], shipping['currency'])} shipping"
    if not prices:
        return f"No price is said; {ship}."
    named = together([_money(one["low"], one["high"], one["currency"]) for one in prices])
    whole = (
        f": {_money(total['low'], total['high'], total['currency'])} in all" if total and shipping and shipping["amount"] else ""
    )
    return f"Asked: {named}; {ship}{whole}."


def _money(low: float, high: float, currency: str) -> str:
    first, last = (f"{one:.2f}".removesuffix(".00") for one in (low, high))
    return f"{first} {currency}" if low == high else f"{first} to {last} {currency}"
