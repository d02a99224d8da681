"""The page of the readings of a repair: how much is missing, and rows in the words of who enters them."""

import re

from wrapcalc.workbook.on_site import pages_close as pages
from wrapcalc.workbook.on_site.book import MISSING, OPTIONAL


def test_what_is_missing_is_counted_by_kind_and_by_row_as_the_table_counts_it(place):
    place.approve()
    book = place.book()
    j = book.judge(place.now)
    kinds, rows = len(j.judged.data["missing"]), sum(s.word == MISSING for s in j.rows)
    assert 1 < kinds < rows
    words = f"{kinds} kinds of entry, {rows} rows of the table"
    assert f"Missing: {words}; listed below." in pages.verdict(j, False)
    assert f"<h3>Missing ({words})</h3>" in pages.missing(j)
    table = re.findall(r"<tr>(.*?)</tr>", pages.overview(book, j))
    at = re.findall(r"<th[^>]*>([^<]*)</th>", table[0]).index("Missing")
    assert sum(int(re.findall(r"<td[^>]*>([^<]*)</td>", line)[at] or 0) for line in table[1:]) == rows


def test_a_row_that_a_repair_may_do_without_says_so_and_is_no_verdict(place):
    book = place.book()
    j = book.judge(place.now)
    left = next(s for s in j.rows if s.word == OPTIONAL)
    assert "Not needed unless it applies." in pages.standing(left)
    assert "<th class=wc-number>Not needed unless it applies</th>" in pages.overview(book, j)


def test_rows_are_headed_in_words_of_the_trade_and_the_file_keeps_its_own(place):
    book = place.book()
    heads = {e.what: re.sub(r"<[^>]+>", "", pages.row_head(e)) for e in book.entries}
    assert heads["package"].startswith("Row 1: name of the package")
    assert ": batch number" in heads["batch"] and "expiry date" in heads["expiry"]
    assert "laminate, beyond the limit: cracks" in heads["laminate: cracks"] and "dust rating" in heads["dust rating"]
    assert book.entries[0].cells["what"] == "package" and b"1,package," in book.raw
