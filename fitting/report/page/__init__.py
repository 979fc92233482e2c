"""The page: answers put together as one HTML file that needs nothing else.

    answers → parts (words and tables) + pictures (SVG) → one page

A part stands for one question, is made from one answer or a few by a pure function, and can be
shown by itself.
"""
