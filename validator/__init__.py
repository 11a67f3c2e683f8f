"""cip-audit: was the dispensing equipment really cleaned, and would the record stand before an inspector?"""

__version__ = "0.1.0"
