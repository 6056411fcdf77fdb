"""The papers around a pair, made from the plant file: tables, test sheet, fault finding."""
