"""Invented names, as people in the fields would use them. Nobody and nowhere real is meant."""

PLOTS = """El Tapia|Portón|Ladera Sur|La Noria Seca|El Huizache|Las Güijas|El Cuatro|La Trompada|Los Tepetates|El Zapote Mocho|La Cuchilla|El Mirador|La Ceja
El Colmenero|La Mojonera|Las Palmillas|El Pochote|La Curva|El Comal|Las Ánimas|El Garabato|La Hondonada|El Guamúchil|La Escondida|Las Tunas|El Pitayo|La Loma Pelona
El Papalote|La Zanja|El Llanito|La Esquina|El Tepame|La Tinaja|Los Tordos|El Tecolote|La Rinconada|El Capulín|La Charca|Las Cruces Viejas|El Nanche|La Laja
El Bordo|La Cañadita|El Copal|Los Coyotes|La Chirimoya|El Ocote|Piedra Bola|El Encino Solo|La Puerta Vieja|El Durazno|La Majada|El Pirul|Los Gavilanes|La Tepusa
El Tanque|La Vereda|El Sabino|Los Ojitos|La Yerbabuena|El Madroño|La Tablita|El Cascajo|Los Órganos|La Barranquita|El Fresnal|La Higuera|El Saucillo|Los Membrillos|La Tijera
El Potrerillo|La Garita|El Limbo|Los Charcos|La Troje|El Chilar|La Cantera Chica|El Resbalón|Los Panales|La Biznaga|El Jaral|La Atarjea|El Tepozán|Los Arrieros|La Culebra
El Borrego|La Tórtola|El Molcajete|Los Nopales|La Candela|El Cenizo|La Cofradía|El Peñasco|Los Mangos|La Retama|El Zorrillo|La Presita|El Carrizo|Los Tejones|La Campana
El Granjeno|La Colorada|El Tule Bajo|Los Alambres|La Perdiz|El Varal|La Lechuza|El Ranchito|Los Guajes|La Salvia|El Crucero|La Ordeña|El Vallado|Los Hornitos|La Parota
El Alacrán|La Guasima|El Aguaje|Los Pericos|La Milpa Vieja|El Venado|La Isla|El Cerco|Los Sauces|La Joya Honda|El Remanso|La Mora|El Tejocote|Los Zorros|La Pedrera
El Sombrío|La Pila|El Camichín|Los Colorines|La Nube|El Rastrojo|La Cazuela|El Corralito|Los Tabachines|La Paloma|El Chaparral|La Olla|El Jagüey|Los Compadres|La Bajada
El Respaldo|La Troca|El Mezquitón|Los Cantaritos|La Siembra|El Frijolar|La Cima|El Tascal|Los Álamos|La Reata|El Espinazo|La Planada|El Abrojo|Los Terreros|La Cresta
El Portezuelo|La Gallina|El Ciruelo|Los Juncos|La Caja|El Lindero|La Sábana|El Cacalote|Los Ahuacates|La Huerta Vieja|El Salitre|La Vaqueta|El Pinto|Los Lobos|La Sombra
El Armadillo|La Tranca|El Pedernal|Los Cardos|La Mesita|El Cajón|La Palizada|El Temporal|Los Magueyes|La Resolana|El Bramadero|La Calera|Los Hoyos|El Sope|La Manga|La Batea|El Yugo|La Nevería|Los Limbos|El Barbecho|La Cal y Canto|El Tendajón|La Peña Rota|El Sitio|La Pastora|Los Palos Verdes|El Atajo|La Rana|El Rodeo Viejo|La Hilera|El Desagüe|La Canoa|El Tronco|La Huella|Los Cerritos|La Fundición""".replace("\n", "|").split("|")

PARCELS = """Potrero de la Garza|Las Tres Piedras|La Noria|El Mal Paso|Tierra Quemada|La Vuelta|Los Ocotillos|El Agostadero|La Estancia Chica|Corral Falso|La Cebolla|Agua Zarca Vieja
Las Reliquias|El Tepehuaje|La Mula|Monte Ralo|El Arco|Cuesta Blanca|Los Pastores|La Ventana|El Salto Chico|Rincón de Luna|La Tinajera|Cerro Mocho|Las Borregas|El Entronque
La Hacienda Caída|El Palenque|Los Ladrillos|La Compuerta|Hoyo Hondo|El Perdido|Las Camelinas|La Almagra|El Barro|Los Tepalcates|La Escoba|El Guayabo|Paso de Mulas|La Polvareda
El Encinal|La Neblina|Los Herreros|El Sereno|La Rosilla|Tierras Dulces|El Cántaro|La Coyotera|Los Bueyes|El Trébol|La Cumbre|Los Hielos|El Aserradero|La Cabaña
El Pinar|Las Heladas|La Torrecilla|El Mosco|Los Vientos|La Garza Dormida""".replace("\n", "|").split("|")

GATES = ("Puerta de alambre", "Portón azul", "Falsete junto al canal", "Entrada por la brecha", "Portón con candado, llave con el cabo", "Puerta de trancas", "")
LANDLORDS = 23
