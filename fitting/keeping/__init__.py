"""The user's own files, added to as they are written: bytes and new rows in, bytes out.

`row` is what is entered, `sheet` a file as it stands, `writing` the file with rows entered or
taken out again, `journal` the record that makes each entry one step that can be undone. Pure:
`slackwater.fitting.logbook` reads and writes.
"""
