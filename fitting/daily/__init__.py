"""A line a day: what entering it means, and the last days side by side.

Free of pandas, so that logging answers at once; what takes more is imported where it is needed.
"""
