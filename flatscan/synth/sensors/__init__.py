"""Sensor models: how each kind of instrument sees a true floor badly. Every preset says where its figures come from."""
