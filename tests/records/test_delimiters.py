"""What stands between the cells of a CSV file, where more than one mark could."""

import pytest

from records.tables.lists import read_list
from records.tables.reading import HEAD_BYTES, delimiter_of

LONG = "Name;Nr\n" + "Byrne, Ada;" + "7" * HEAD_BYTES


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("Name,Nr\nAda,7\n", ","),
        ("Name;Nr\nAda;7\n", ";"),
        ("Name\tNr\nAda\t7\n", "\t"),
        # As many commas as semicolons in the heading, and in every row.
        ("Name, Vorname;Nr\nByrne, Ada;7\n", ";"),
        ("Name, Vorname;Nr", ";"),
        # More commas than semicolons in the heading, but not so in the rows.
        ("Name, Vorname, Titel;Nr\nByrne, Ada;7\nOda, Bo;8\n", ";"),
        # The other way round.
        ("Ort; Halle; Platz,Nr\nNord,7\nSüd; 2,8\n", ","),
        ('"Name; Vorname; Titel",Nr\n"Byrne; Ada; Dr.",7\n', ","),
        # Decimal commas.
        ("Nr;mm\n7;0,5\n8;0,6\n", ";"),
        # Columns at the end without a name, and rows that end sooner.
        ("Name,Nr,,;\nAda,7\nBo,8\n", ","),
        ("Name\nByrne; Ada\n", ","),
        ("", ","),
        ("\ufeffName, Vorname;Nr\r\nByrne, Ada;7\r\n", ";"),
        ("sep=,\r\nName; Vorname; Titel,Nr\r\n", ","),
        ("sep=|\nName;Nr\nAda;7\n", ";"),
        # What is cut off where looking ends is no row.
        (LONG, ";"),
        (f"Name;Nr\n{LONG}", ";"),
    ],
)
def test_delimiter_is_the_one_by_which_heading_and_rows_agree(text, delimiter):
    assert delimiter_of(text.encode()) == delimiter


def test_heading_with_a_comma_in_a_list_with_semicolons():
    content = "Name, Vorname;Personalnr.\nMüller, Anna;471\n".encode("cp1252")
    read = read_list("people.csv", content)
    assert read.headings == ["Name, Vorname", "Personalnr."]
    assert [row.cells for row in read.rows] == [["Müller, Anna", "471"]]
