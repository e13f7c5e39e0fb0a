# Writes a flat OpenDocument workbook: argument 1 is the day that dates count from.
import sys
null_date = sys.argv[1]
def text(t): return f'<table:table-cell office:value-type="string"><text:p>{t}</text:p></table:table-cell>'
def number(n): return f'<table:table-cell office:value-type="float" office:value="{n}"/>'
def date(d): return f'<table:table-cell table:style-name="day" office:value-type="date" office:date-value="{d}"/>'
def formula(f): return f'<table:table-cell table:formula="of:={f}"/>'
EMPTY = '<table:table-cell/>'
rows = [
    [text("Clamps of fixture 12")],
    [text(h) for h in ["Fixture", "Circuit", "Position", "Part No.", "Qty", "Length [mm]", "Note"]],
    [text("F12"), number(1), text("C1"), text("CL-1"), number(4), EMPTY, text("Höhe prüfen")],
    [text("F12"), number(1), text("L1"), text("TB-1"), number(1), number(1234.5), date("2026-03-31")],
    [text("F12"), number(1), date("2026-01-02"), text("TB-1"), formula("[.E3]/2"), formula("[.F4]*2"), EMPTY],
    [text("F12"), number(1), text("L3"), text("TB-1"), text("2"), text("1,5 m"), EMPTY],
    [text("F12"), number(1), text("L4"), text("TB-1"), number(1), formula("1/0"), EMPTY],
    [text("F12"), number(2), text("G"), text("007"), number(1), EMPTY, EMPTY],
    [text("F12"), number(2), text("G"), number(7), number(1), EMPTY, EMPTY],
    [text("F12"), number(2), text("L5"), text("TB-1"), number(1), formula("[.F4]+0.1+0.2"), EMPTY],
    [text("Total"), EMPTY, EMPTY, EMPTY, formula("SUM([.E3:.E10])"), EMPTY, EMPTY],
]
body = "".join(f'<table:table-row{" table:visibility=" + chr(34) + "collapse" + chr(34) if n == 5 else ""}>{"".join(r)}</table:table-row>' for n, r in enumerate(rows))
print(f'''<?xml version="1.0" encoding="UTF-8"?>
<office:document xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0" xmlns:of="urn:oasis:names:tc:opendocument:xmlns:of:1.2" xmlns:number="urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0" office:version="1.2" office:mimetype="application/vnd.oasis.opendocument.spreadsheet">
<office:automatic-styles><number:date-style style:name="iso"><number:year number:style="long"/><number:text>-</number:text><number:month number:style="long"/><number:text>-</number:text><number:day number:style="long"/></number:date-style>
<style:style style:name="day" style:family="table-cell" style:data-style-name="iso"/></office:automatic-styles>
<office:body><office:spreadsheet><table:calculation-settings><table:null-date table:date-value="{null_date}"/></table:calculation-settings>
<table:table table:name="Fixture 12"><table:table-column table:number-columns-repeated="7"/>{body}</table:table>
<table:table table:name="Contents"><table:table-row>{text("Sheet")}{text("What")}</table:table-row></table:table>
</office:spreadsheet></office:body></office:document>''')
